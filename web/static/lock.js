// Locks the page when nobody touches it: warns 20 s before, one tap stays signed on, and what was half typed is kept first. On
// lock nothing of the page stays behind, not even behind the Back button. Without network the page is locked here at once, leads to
// the safety data sheets, and the sitting is ended as soon as the book answers, on whatever page that is.

import { say } from "./say.js";

const WARN_MS = 20000;
const PING_MS = 60000;
const idle = Number(document.body.dataset.idle || 0) * 1000;
const form = document.getElementById("lock");
let touched = Date.now();
let pinged = Date.now();
let trap = null;

// The server counts idle time by requests, so a person who types for minutes is made known to it now and then.
function ping() {
	pinged = Date.now();
	fetch("/bench", { headers: { "X-Ping": "1" } }).catch(() => { /* away; the server's own limit decides later */ });
}
function touch() {
	touched = Date.now();
	if (trap) { trap.remove(); trap = null; ping(); }
	else if (touched - pinged > PING_MS) ping();
}
function warn() {
	trap = Object.assign(document.createElement("div"), { className: "trap" });
	trap.setAttribute("role", "alertdialog");
	trap.setAttribute("aria-label", "About to lock");
	trap.append(Object.assign(document.createElement("strong"), { textContent: "Nobody has touched this page. It locks in 20 seconds; what you typed is kept for you." }));
	const stay = Object.assign(document.createElement("button"), { type: "button", className: "primary", textContent: "Stay signed on" });
	stay.addEventListener("click", touch);
	trap.append(stay);
	document.body.append(trap);
	say("This page locks in 20 seconds.");
}
function watch() {
	const still = Date.now() - touched;
	if (still >= idle) return form.requestSubmit();
	if (still >= idle - WARN_MS && !trap) warn();
}

// That a sitting should end is remembered, because the page that asked for it may be left before the book answers.
const ENDING = "ending";
const RETRY_MS = 3000;

function remember(ending) {
	try { if (ending) localStorage.setItem(ENDING, "yes"); else localStorage.removeItem(ENDING); } catch { /* switched off: this page alone ends it */ }
}
function remembered() {
	try { return localStorage.getItem(ENDING) !== null; } catch { return false; }
}

async function end() {
	try {
		const answer = await fetch("/lock", { method: "POST", redirect: "manual" });
		if (answer.type !== "opaqueredirect") throw new Error(`status ${answer.status}`);
		remember(false);
		location.assign("/signon");
	} catch {
		showLocked();
		setTimeout(end, RETRY_MS);
	}
}

function showLocked() {
	const main = document.querySelector("main");
	if (main.querySelector(".locked")) return;
	const page = Object.assign(document.createElement("div"), { className: "locked stack" });
	page.append(Object.assign(document.createElement("h1"), { textContent: "Locked" }),
		Object.assign(document.createElement("p"), { textContent: "The book does not answer. Sign-on comes back by itself as soon as it does." }),
		Object.assign(document.createElement("a"), { className: "button touch", href: "/sheets", textContent: "Safety data sheets" }));
	main.replaceChildren(page);
	say("Locked.");
}

// The sign-on page without anybody's name on it: no sitting is left.
if (!form && document.querySelector("#pin-form, #password")) remember(false);

if (form) {
	form.addEventListener("submit", (event) => {
		event.preventDefault();
		document.dispatchEvent(new CustomEvent("locking"));
		if (trap) trap.remove();
		for (const part of ["main", "header .scan", "header .who"]) document.querySelector(part)?.replaceChildren();
		remember(true);
		end();
	}, { once: true });
	if (remembered()) form.requestSubmit();
	if (idle > 0) {
		for (const kind of ["pointerdown", "keydown", "scroll"]) document.addEventListener(kind, touch, { passive: true });
		setInterval(watch, 1000);
	}
}
// A page taken from the browser's memory belonged to whoever was signed on then.
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
