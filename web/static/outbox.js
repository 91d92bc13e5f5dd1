// Saves go by fetch. When the book cannot be reached the entry stays on this tablet, under its record id, and is sent again
// until the book has it; the id makes a repeat the same record. An entry belongs to its author and is sent only while that
// person is signed on. One that the book refuses waits for its author in plain sight.

import { say } from "./say.js";
import { stamp } from "./clock.js";
import { forget, keep } from "./drafts.js";

const RETRY_MS = 10000;
const TIMEOUT_MS = 15000;
const person = document.body.dataset.person;
const AWAY = new Set([502, 503, 504]);

// --- what waits, in IndexedDB, which also works over plain HTTP ---
const opened = new Promise((resolve, reject) => {
	const asked = indexedDB.open("coatbook", 1);
	asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "record" });
	asked.onsuccess = () => resolve(asked.result);
	asked.onerror = () => reject(asked.error);
});
async function act(kind, work) {
	const db = await opened;
	return new Promise((resolve, reject) => {
		const tx = db.transaction("waiting", kind);
		const asked = work(tx.objectStore("waiting"));
		tx.oncomplete = () => resolve(asked.result);
		tx.onerror = () => reject(tx.error);
	});
}
// A browser whose store is full, forbidden or stuck must not hold up a save: it then goes without a copy on the tablet.
const KEEP_MS = 4000;
async function keeps(entry) {
	const kept = put(entry).then(() => true, () => false);
	const first = await Promise.race([kept, new Promise((resolve) => setTimeout(resolve, KEEP_MS, null))]);
	if (first === null) kept.then((late) => late && remove(entry.record));
	return first === true;
}
const put = (entry) => act("readwrite", (s) => s.put(entry));
const remove = (record) => act("readwrite", (s) => s.delete(record));
const everything = async () => (await act("readonly", (s) => s.getAll())).sort((a, b) => a.at - b.at);

// --- sending ---
async function send(entry) {
	const body = new URLSearchParams(entry.body);
	// The book asks why an entry comes late; for one that waited here the reason is known.
	if (Date.now() - entry.at > 60000 && !body.get("late_reason")) body.set("late_reason", "kept on the tablet while the book could not be reached");
	return fetch(entry.action, { method: "POST", body, headers: { "X-Outbox": "1" }, signal: AbortSignal.timeout(TIMEOUT_MS) });
}
// savedTo is where to go after a save, empty when the answer is not a save.
function savedTo(answer) {
	const signOn = answer.redirected && new URL(answer.url).pathname.startsWith("/signon");
	return answer.ok && !signOn ? answer.headers.get("Saved-To") || (answer.redirected ? answer.url : "") : "";
}
const asksSignOn = (answer) => answer.status === 401 || answer.redirected && new URL(answer.url).pathname.startsWith("/signon");

async function save(form, submitter) {
	stamp(form);
	const pairs = new URLSearchParams(new FormData(form, submitter));
	const secret = !!pairs.get("override-pin");
	const entry = { record: pairs.get("record"), person, name: document.body.dataset.name, action: form.action, draft: form.dataset.draft, title: form.dataset.title, body: pairs.toString(), at: Date.now(), refused: "" };
	submitter.disabled = true;
	// Kept before it is sent, so that a flat battery loses nothing. A PIN is never kept.
	const kept = !secret && await keeps(entry);
	try {
		const answer = await send(entry);
		if (AWAY.has(answer.status)) throw new Error(String(answer.status));
		const to = savedTo(answer);
		if (to) {
			if (kept) await remove(entry.record);
			document.dispatchEvent(new CustomEvent("saved"));
			return location.assign(to);
		}
		if (asksSignOn(answer)) return location.assign("/signon?next=" + encodeURIComponent(location.pathname));
		if (kept) await remove(entry.record);
		swap(await answer.text(), answer.status);
	} catch {
		if (secret) say("Not saved: the book cannot be reached. An exception signed with a PIN cannot wait on the tablet; try again.", true);
		else if (kept) {
			document.dispatchEvent(new CustomEvent("saved"));
			say("Not saved yet: the book cannot be reached. The entry is kept on this tablet and saved by itself.", true);
		} else say("Not saved: the book cannot be reached, and this browser cannot keep the entry for later. Leave the page open and save again.", true);
		submitter.disabled = kept;
	}
	if (kept) await tell();
}

// swap shows the page that came back with problems, without losing the place.
function swap(html, status) {
	const page = new DOMParser().parseFromString(html, "text/html").querySelector("main");
	if (!page) return say(`Not saved: the book answered with an error (${status}).`, true);
	document.querySelector("main").replaceChildren(...page.childNodes);
	document.querySelector("main").className = page.className;
	document.dispatchEvent(new CustomEvent("swapped"));
	const problems = document.getElementById("problems");
	(problems || document.querySelector("main")).focus();
}

let draining = false;
async function drain() {
	if (draining || !person) return;
	draining = true;
	try {
		for (const entry of await everything()) {
			if (entry.person !== person || entry.refused) continue;
			let answer;
			try { answer = await send(entry); } catch { break; }
			if (AWAY.has(answer.status) || answer.status === 429 || answer.status >= 500 || asksSignOn(answer)) break;
			const to = savedTo(answer);
			if (to) {
				await remove(entry.record);
				say(`Saved now: ${entry.title}.`);
				offerTakeBack(entry);
				// After a new sign-on the same values stand on the page under a new number: leaving it keeps them from being saved twice.
				if (forget(entry.person, entry.draft)) location.assign(to);
			} else {
				await put({ ...entry, refused: await sentenceOf(answer) });
				say(`Not saved: ${entry.title} needs attention.`, true);
			}
		}
	} finally {
		draining = false;
		await tell();
	}
}
// offerTakeBack offers to undo an entry that waited here and was saved just now, as the page after a save does.
function offerTakeBack(entry) {
	for (const offer of document.querySelectorAll("form.take-back")) offer.remove();
	const form = Object.assign(document.createElement("form"), { className: "take-back", method: "post", action: `/records/${entry.record}/take-back` });
	form.setAttribute("aria-label", "Take back the last entry");
	form.append(Object.assign(document.createElement("span"), { textContent: `Wrong? ${entry.title} can be taken back for two minutes.` }),
		Object.assign(document.createElement("button"), { type: "submit", textContent: "Take back" }));
	document.querySelector("main").before(form);
	setTimeout(() => form.remove(), 110000);
}
async function sentenceOf(answer) {
	const because = answer.headers.get("Refused-Because");
	if (because) return decodeURIComponent(because);
	const page = new DOMParser().parseFromString(await answer.text(), "text/html");
	return (page.querySelector("#problems li, .notice.bad, main p, main h1")?.textContent || "The book refused it.").trim();
}

// --- telling ---
async function tell() {
	const strip = document.getElementById("saved");
	if (!strip) return;
	const waiting = await everything();
	const mine = waiting.filter((e) => e.person === person);
	const open = mine.filter((e) => !e.refused);
	const others = waiting.filter((e) => e.person !== person);
	const words = [];
	if (open.length) words.push(`Not saved yet: ${open.length} waiting since ${new Date(open[0].at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}`);
	if (mine.length > open.length) words.push(`${mine.length - open.length} needs attention`);
	if (others.length) words.push(`${others.length} waits for ${others[0].name}`);
	strip.classList.toggle("waiting", words.length > 0);
	strip.dataset.state = words.length ? "waiting" : "saved";
	const text = words.join("; ") || "All saved";
	if (strip.lastElementChild.textContent !== text) strip.lastElementChild.textContent = text;
	tray(mine.filter((e) => e.refused));
}
function tray(refused) {
	document.getElementById("tray")?.remove();
	if (!refused.length) return;
	const box = Object.assign(document.createElement("section"), { id: "tray", className: "notice bad" });
	box.setAttribute("aria-label", "Needs attention");
	for (const entry of refused) {
		const line = Object.assign(document.createElement("p"), { textContent: `${entry.title}: ${entry.refused} ` });
		const open = Object.assign(document.createElement("button"), { type: "button", textContent: "Open it again" });
		open.addEventListener("click", async () => {
			keep(entry.person, entry.draft, new URLSearchParams(entry.body));
			await remove(entry.record);
			location.assign(entry.action);
		});
		line.append(open);
		box.append(line);
	}
	document.querySelector("main").before(box);
}

document.addEventListener("submit", (event) => {
	if (!event.target.matches("form[data-entry]") || event.submitter?.name !== "save") return;
	event.preventDefault();
	save(event.target, event.submitter);
});
addEventListener("online", drain);
setInterval(drain, RETRY_MS);
drain();
