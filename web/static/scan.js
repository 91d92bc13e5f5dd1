// A scanned label says what it is: a type mark, a point, then the code (LOT.88-1403). So a scan goes where it belongs wherever
// the focus is, and one of the wrong type is refused in words.

import { say } from "./say.js";
import { put } from "./readings.js";

const NAMES = {
	PART: "hangtag", RACK: "rack", LOAD: "oven load", LOT: "lot", GAUGE: "gauge", SHIM: "shim", BADGE: "badge", BATH: "bath", STATION: "station", PERSON: "person", CERTIFICATE: "certificate",
};
const MARKED = new RegExp(`(${Object.keys(NAMES).join("|")})\\.([\\x21-\\x7e]+)$`, "i");
const AGAIN_MS = 1000;
let last = { text: "", at: 0 };

// again reports a second scan of the same label within a second: a trembling hand, not a second thing.
function again(text) {
	const now = performance.now();
	const same = text === last.text && now - last.at < AGAIN_MS;
	last = { text, at: now };
	if (same) say("Scanned twice; taken once.");
	return same;
}

// route takes a marked code to its place. Field is where it was typed.
function route(type, code, field) {
	if (again(type + "." + code)) return;
	// Where several lists take this kind of label, it goes to one that has it: the one in hand, else an empty one, else any.
	const places = [...document.querySelectorAll(`[data-scan~="${type}"]`)];
	const has = places.filter((p) => p.tagName === "SELECT" && [...p.options].some((o) => o.dataset.code?.toUpperCase() === code.toUpperCase()));
	const place = has.find((p) => p === field) ?? has.find((p) => !p.value) ?? has[0] ?? places[0];
	if (place?.tagName === "SELECT") {
		const option = [...place.options].find((o) => o.dataset.code?.toUpperCase() === code.toUpperCase());
		if (!option) return say(`${capital(NAMES[type])} ${code} cannot be used here. Check its label, or ask what is wrong with it on the bench page.`, true);
		place.value = option.value;
		place.dispatchEvent(new Event("change", { bubbles: true }));
		return say(`${capital(NAMES[type])} ${code} taken.`);
	}
	if (place?.tagName === "INPUT") {
		place.value = type + "." + code;
		return place.form.requestSubmit();
	}
	const asks = field?.dataset?.scan;
	if (asks) return say(`That is a ${NAMES[type]}. This field takes a ${NAMES[asks.split(" ")[0]]}.`, true);
	if (type === "BADGE") return signOn(code);
	if (type === "SHIM" || type === "BATH" || type === "STATION" || type === "PERSON") return say(`A ${NAMES[type]} has no place on this page.`, true);
	location.assign("/scan?code=" + encodeURIComponent(type + "." + code));
}

// signOn changes to the person whose badge was scanned. What was half typed stays with the one before.
function signOn(code) {
	const form = document.createElement("form");
	form.method = "post";
	form.action = "/signon/badge";
	for (const [name, value] of [["badge", "BADGE." + code], ["next", location.pathname]]) {
		form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
	}
	document.body.append(form);
	form.requestSubmit();
}

const capital = (word) => word[0].toUpperCase() + word.slice(1);

// Before anything else sees Enter: was it a marked code?
document.addEventListener("submit", (event) => {
	const field = document.activeElement?.matches?.("input, textarea, select") ? document.activeElement : null;
	const pressed = event.submitter?.name === "preview" && event.submitter.hidden || event.target.matches("[data-scan-form]") || field?.dataset.scan;
	if (!pressed || !field) return;
	const text = field.value ?? "";
	const marked = MARKED.exec(text);
	const box = field.id === "scan";
	if (!marked) {
		if (field.dataset.scan && again(text)) { event.preventDefault(); event.stopImmediatePropagation(); }
		// A gauge that typed while the scan box had the focus meant the next reading.
		if (box && /^[+-]?[\d.,]+\s*(µm|um|mil)?$/i.test(text.trim()) && put(text.trim())) {
			field.value = "";
			event.preventDefault();
			event.stopImmediatePropagation();
		}
		return;
	}
	const type = marked[1].toUpperCase();
	if (field.dataset.scan?.split(" ").includes(type)) {
		if (again(type + "." + marked[2])) { event.preventDefault(); event.stopImmediatePropagation(); }
		return;
	}
	event.preventDefault();
	event.stopImmediatePropagation();
	// What stood in the box before the scan stays; the scan is taken out of it.
	field.value = text.slice(0, marked.index);
	route(type, marked[2], field);
}, true);

// A reading that a label was scanned into is not a number until Enter comes; Tab-ending scanners are caught here.
document.addEventListener("change", (event) => {
	const field = event.target;
	if (!field.matches?.("input.reading")) return;
	const marked = MARKED.exec(field.value);
	if (!marked) return;
	field.value = field.value.slice(0, marked.index);
	route(marked[1].toUpperCase(), marked[2], field);
}, true);

// The scan box has the focus whenever nothing else needs it. The system's keyboard comes only when a finger asks for it.
const box = document.getElementById("scan");
const coarse = matchMedia("(pointer: coarse)").matches;
function rest() {
	if (!box || document.activeElement && document.activeElement !== document.body) return;
	if (document.querySelector("main [autofocus]") || matchMedia("(max-width: 560px)").matches) return;
	if (coarse) box.inputMode = "none";
	box.focus({ preventScroll: true });
}
box?.addEventListener("pointerdown", () => { box.inputMode = "text"; });
document.addEventListener("focusout", (event) => { if (!event.relatedTarget) setTimeout(rest, 300); });
rest();
