// Half-typed values are kept on this browser for the person who typed them and the form they belong to, and come back to that
// person only. Secrets are never kept. A saved entry clears its draft.

import { say } from "./say.js";

const AGE_MS = 48 * 3600 * 1000;
const person = document.body.dataset.person;
let timer = 0;
const form = () => document.querySelector("form[data-entry]");
const key = () => `draft|${person}|${form().dataset.draft}`;

// These belong to the page, not to what was typed.
const OURS = new Set(["record", "entered_by", "observed_at", "clock_offset_ms", "unit", "preview", "save", "more"]);
const keeps = (field) => field.name && !OURS.has(field.name) && field.type !== "password" && field.type !== "submit" && field.tagName !== "BUTTON";

function read() {
	try { return JSON.parse(localStorage.getItem(key()) || "null"); } catch { return null; }
}

// flush keeps what is in the form now.
export function flush() {
	if (!person || !form()) return;
	const values = [...form().elements].filter(keeps).map((f) => [f.name, f.value, f.type === "radio" || f.type === "checkbox" ? f.checked : null]);
	try { localStorage.setItem(key(), JSON.stringify({ at: Date.now(), values })); } catch { /* full or switched off: the page itself still holds the values */ }
}

// clear forgets the draft of the form on the page.
export function clear() {
	if (person && form()) localStorage.removeItem(key());
}

// forget drops the draft of an entry that the book has, and reports whether its form is on the page.
export function forget(owner, draft) {
	localStorage.removeItem(`draft|${owner}|${draft}`);
	const here = owner === person && form()?.dataset.draft === draft;
	if (here) clearTimeout(timer);
	return here;
}

// keep stores values for a form that is not on the page, from an entry that was refused.
export function keep(owner, draft, pairs) {
	const values = [...pairs].filter(([name]) => !OURS.has(name)).map(([name, value]) => [name, value, null]);
	localStorage.setItem(`draft|${owner}|${draft}`, JSON.stringify({ at: Date.now(), values }));
}

function restore() {
	if (!person || !form()) return;
	// A form that came back with problems holds the newest values; only what is empty there, sent before it was restored, comes back.
	const newest = !!document.getElementById("problems");
	const draft = read();
	if (!draft) return;
	if (Date.now() - draft.at > AGE_MS) return clear();
	let back = 0;
	for (const [name, value, checked] of draft.values) {
		for (const field of [...form().elements].filter((f) => f.name === name && keeps(f))) {
			if (field.type === "radio" || field.type === "checkbox") {
				const on = checked === null ? field.value === value : field.value === value && checked;
				if (newest && [...form().elements].some((f) => f.name === name && f.checked)) continue;
				if (on !== field.checked && (on || field.type === "checkbox")) { field.checked = on; back++; }
			} else if (value !== "" && field.value !== value && !(newest && field.value !== "")) {
				field.value = value;
				if (field.type !== "hidden") back++;
			}
			if (field.tagName === "SELECT") field.dispatchEvent(new Event("change", { bubbles: true }));
		}
	}
	if (!back) return;
	announce(draft.at);
	// What came back is seen, also where the page folds it away.
	for (const fold of form().querySelectorAll("details:not([open])")) {
		const typed = (f) => (f.type === "radio" || f.type === "checkbox" ? f.checked : f.type !== "hidden" && f.value !== "");
		fold.open = [...fold.querySelectorAll("input, select, textarea")].some(typed);
	}
	form().querySelectorAll("input.reading").forEach((r) => { if (r.value) r.dispatchEvent(new Event("change", { bubbles: true })); });
	document.dispatchEvent(new CustomEvent("restored"));
	const empty = [...form().querySelectorAll("input.reading")].find((r) => !r.value && !r.closest("tr.absent, details:not([open])"));
	empty?.focus();
}

function announce(at) {
	const bar = document.createElement("div");
	bar.className = "notice";
	bar.id = "draft";
	const time = new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
	const words = Object.assign(document.createElement("p"), { textContent: `You typed these values at ${time} and have not saved them. ` });
	const button = Object.assign(document.createElement("button"), { type: "button", textContent: "Clear them" });
	button.addEventListener("click", () => { clear(); location.reload(); });
	words.append(button);
	bar.append(words);
	form().querySelector(".body").prepend(bar);
	say("Your values are back.");
}

function later() {
	clearTimeout(timer);
	timer = setTimeout(flush, 150);
}
document.addEventListener("input", (event) => { if (form()?.contains(event.target)) later(); });
document.addEventListener("change", (event) => { if (form()?.contains(event.target)) later(); });
document.addEventListener("saved", () => { clearTimeout(timer); clear(); });
document.addEventListener("locking", () => { clearTimeout(timer); if (timer) flush(); });
restore();
