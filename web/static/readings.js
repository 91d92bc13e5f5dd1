// Readings come from a gauge that types (a value, then Enter), from a keyboard or from the large keys. Enter never saves: it
// lands the value, flags it and moves on; after the last one the review has the focus.

import { say } from "./say.js";

const form = () => document.querySelector("form[data-entry]");
// What is folded away is not asked for: a gauge does not type into it, and the focus does not go there.
const all = () => [...document.querySelectorAll("form[data-entry] input.reading")].filter((r) => !r.closest("tr.absent, details:not([open])") && !absent(r));
const absent = (reading) => form().elements[reading.name + "-absent"]?.value;
// The reading that the keys write into.
let current = null;

// A gauge types far faster than a hand: its characters come some milliseconds apart.
const WEDGE_GAP_MS = 35;

// check says what is wrong with the text of a reading: nothing, not a number, impossible, low or high.
export function check(reading) {
	const text = reading.value.trim();
	const data = reading.dataset;
	if (text === "") return { state: "empty" };
	const match = /^([+-]?(?:\d+[.,]?\d*|[.,]\d+))\s*(\D*)$/.exec(text);
	if (!match) return { state: "wrong", words: `“${text}” is not a number` };
	if (match[1].includes(",") && !form().dataset.comma) return { state: "wrong", words: `“${text}” has a comma: write ${match[1].replace(",", ".")}` };
	const value = Number(match[1].replace(",", "."));
	// A value that brings its own unit is converted and judged by the server.
	if (match[2] && match[2].trim().replace("u", "µ").replace("μ", "µ") !== data.unit) return { state: "ok", value: null };
	if (data.from !== "" && value < Number(data.from) || data.to !== "" && value > Number(data.to)) {
		return { state: "absurd", words: `${text} cannot be right: check the gauge` };
	}
	const low = data.floor !== "" ? data.floor : data.low;
	if (low !== "" && value < Number(low)) return { state: "low", value, words: "low" };
	if (data.high !== "" && value > Number(data.high)) return { state: "high", value, words: "high" };
	return { state: low !== "" || data.high !== "" ? "in" : "ok", value, words: low !== "" || data.high !== "" ? "within limits" : "" };
}

// land flags a reading the moment its value is complete; it reports whether the focus may move on.
function land(reading) {
	const found = check(reading);
	reading.classList.toggle("out", found.state === "low" || found.state === "high");
	reading.classList.toggle("absurd", found.state === "absurd" || found.state === "wrong");
	const flag = document.getElementById(reading.id + "-flag");
	if (flag) {
		flag.className = "flag " + ({ low: "low", high: "high", in: "in", absurd: "guard", wrong: "guard" }[found.state] || "");
		flag.replaceChildren(Object.assign(document.createElement("span"), { textContent: found.words || "" }));
	}
	if (found.state === "absurd" || found.state === "wrong") say(`${reading.dataset.label}: ${found.words}.`, true);
	reading.dispatchEvent(new CustomEvent("landed", { bubbles: true, detail: found }));
	return found.state !== "absurd" && found.state !== "wrong";
}

function keepSource(reading) {
	const times = reading.times || [];
	const wedge = times.length >= 3 && (times.at(-1) - times[0]) / (times.length - 1) < WEDGE_GAP_MS;
	const fields = form().elements;
	if (!fields[reading.name + "-source"]) return;
	fields[reading.name + "-source"].value = wedge ? "wedge" : "typed";
	fields[reading.name + "-raw"].value = reading.value;
	reading.times = [];
}

// next lands a reading and moves to the next empty one, or to the review.
function next(reading) {
	keepSource(reading);
	if (reading.value.trim() !== "" && !land(reading)) {
		reading.select();
		return;
	}
	const readings = all();
	const here = readings.indexOf(reading);
	const wanted = (r) => r.value.trim() === "" && r !== reading;
	const target = readings.slice(here + 1).find((r) => wanted(r)) || readings.find((r) => wanted(r) && !r.dataset.optional);
	if (target) target.focus();
	else review();
}

// put enters a value that arrived elsewhere on the page into the next empty reading, and reports whether there was one.
export function put(text) {
	const target = all().find((r) => r.value.trim() === "");
	if (!target) return false;
	target.value = text;
	target.times = [0, 1, 2];
	next(target);
	return true;
}

// review shows what will be saved and gives it the focus; saving takes another act.
export function review() {
	mode("reviewing");
	const section = document.querySelector("[data-review]");
	section?.focus();
	document.dispatchEvent(new CustomEvent("review"));
}

function mode(name) {
	form()?.classList.toggle("typing", name === "typing");
	form()?.classList.toggle("reviewing", name === "reviewing");
}

function show() {
	const shown = document.querySelector("[data-shown]");
	if (!shown || !current) return;
	shown.textContent = current.value;
	document.querySelector("[data-shown-where]").textContent = current.dataset.label + ", " + current.dataset.unit;
	const left = all().filter((r) => r !== current && r.value.trim() === "" && !r.dataset.optional).length;
	document.querySelector("[data-keys] [data-key=next]").textContent = left ? "Next reading" : "To the review";
}

// enter makes a reading the one that the keys write into.
function enter(reading) {
	current = reading;
	mode("typing");
	// Where the keys are on the screen the system's own keyboard would only cover the page.
	reading.inputMode = getComputedStyle(document.querySelector("[data-keys]")).display === "none" ? "decimal" : "none";
	const box = reading.getBoundingClientRect(), keys = document.querySelector("[data-keys]").getBoundingClientRect();
	const floor = keys.top > box.left && keys.left < box.right && keys.height ? Math.min(keys.top, innerHeight) : innerHeight;
	if (box.top < 0 || box.bottom > floor) reading.scrollIntoView({ block: "center" });
	reading.select();
	document.querySelectorAll("tr.now").forEach((row) => row.classList.remove("now"));
	reading.closest("tr")?.classList.add("now");
	show();
}

function press(key) {
	if (!current || !document.contains(current)) current = all().find((r) => r.value.trim() === "") || all()[0];
	if (!current) return;
	if (key === "next") return next(current);
	if (document.activeElement !== current) current.focus();
	current.value = key === "back" ? current.value.slice(0, -1) : current.value + key;
	current.times = [];
	current.dispatchEvent(new Event("input", { bubbles: true }));
}

document.addEventListener("submit", (event) => {
	if (event.target !== form() || event.submitter?.name !== "preview" || !event.submitter.hidden) return;
	event.preventDefault();
	const at = document.activeElement;
	if (at?.matches("input.reading")) next(at);
	else review();
});
document.addEventListener("focusin", (event) => {
	if (event.target.matches?.("form[data-entry] input.reading")) {
		enter(event.target);
	} else if (event.target.closest?.("form[data-entry] .body") && !event.target.closest("table.spots")) {
		mode("reviewing");
	}
});
document.addEventListener("input", (event) => {
	if (!event.target.matches("form[data-entry] input.reading")) return;
	(event.target.times ||= []).push(event.timeStamp);
	show();
});
document.addEventListener("change", (event) => {
	if (!event.target.matches("form[data-entry] input.reading")) return;
	land(event.target);
	if (all().every((r) => r.value.trim() !== "" || r.dataset.optional)) mode("reviewing");
});
document.addEventListener("keydown", (event) => {
	// Arrow keys must not nudge a value, and at the ends of a box they go to the neighbour's box only by Tab.
	if (event.target.matches?.("input.reading") && (event.key === "ArrowUp" || event.key === "ArrowDown")) event.preventDefault();
});
document.addEventListener("pointerdown", (event) => {
	// The reading keeps the focus while its keys are pressed; the key itself acts on release.
	if (event.target.closest("[data-keys]")) event.preventDefault();
});
document.addEventListener("mousedown", (event) => { if (event.target.closest("[data-keys]")) event.preventDefault(); });
document.addEventListener("click", (event) => {
	const key = event.target.closest("[data-keys] [data-key]");
	if (key) press(key.dataset.key);
	const goto = event.target.closest("[data-goto]");
	if (goto) { event.preventDefault(); document.getElementById(goto.dataset.goto)?.focus(); }
});

function begin() {
	if (!form()) return;
	// The browser gives the focus to autofocus only after scripts have run; the keys need to know now.
	const first = document.querySelector("input.reading[autofocus]");
	mode("reviewing");
	if (first && !document.getElementById("problems")) {
		first.focus();
		enter(first);
	}
	all().filter((r) => r.value.trim() !== "").forEach(land);
}
document.addEventListener("swapped", begin);
begin();
