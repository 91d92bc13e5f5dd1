// Keeps the film page in step with its readings: the mean of each spot, the sketch, the limit strip and the sentence below.

import { check } from "./readings.js";

const SVG = "http://www.w3.org/2000/svg";
const section = () => document.querySelector("[data-film]");

function spotOf(row) {
	const inputs = [...row.querySelectorAll("input.reading")];
	const found = inputs.map(check);
	const values = found.filter((f) => typeof f.value === "number").map((f) => f.value);
	const decimals = Math.max(1, ...inputs.map((i) => (i.value.split(/[.,]/)[1] || "").replace(/\D.*/, "").length));
	const absent = row.classList.contains("absent");
	const complete = values.length === inputs.length;
	const mean = complete ? values.reduce((sum, v) => sum + v, 0) / values.length : null;
	return { row, number: row.dataset.spot, found, values, decimals, absent, complete, mean };
}

// A spot is flagged by its mean once it is complete, and by any single reading beyond the limits before that.
function flagOf(spot) {
	const { low, high, floor } = section().dataset;
	const bottom = floor !== "" ? Number(floor) : low !== "" ? Number(low) : null;
	const top = high !== "" ? Number(high) : null;
	const seen = spot.mean === null ? spot.values : [spot.mean];
	if (bottom !== null && seen.some((v) => v < bottom)) return "low";
	if (top !== null && seen.some((v) => v > top)) return "high";
	return spot.found.find((f) => f.state === "low" || f.state === "high")?.state || "";
}

function drawRow(spot, flag) {
	const cell = spot.row.querySelector("[data-mean]");
	cell.classList.toggle("out", flag !== "");
	cell.firstElementChild.textContent = spot.mean === null ? "" : spot.mean.toFixed(spot.decimals);
	const word = cell.querySelector("[data-flag]");
	word.className = "flag " + flag;
	word.textContent = flag;
	const strip = spot.row.querySelector("[data-strip-from]");
	const from = Number(strip.dataset.stripFrom), to = Number(strip.dataset.stripTo);
	strip.querySelector("[data-ticks]").replaceChildren(...spot.found.filter((f) => typeof f.value === "number").map((f) => {
		const x = Math.min(137, Math.max(3, 3 + (f.value - from) / (to - from) * 134)).toFixed(1);
		const tick = document.createElementNS(SVG, "path");
		tick.setAttribute("d", `M${x} 12v16`);
		tick.setAttribute("class", f.state === "low" || f.state === "high" ? "tick out" : "tick");
		return tick;
	}));
}

function drawSketch(spots, flags) {
	const at = document.activeElement?.closest?.("tr[data-spot]")?.dataset.spot;
	spots.forEach((spot, i) => {
		const mark = document.querySelector(`.sketch [data-spot="${spot.number}"]`);
		if (!mark) return;
		const state = spot.absent ? "missing" : flags[i] ? "failed" : spot.complete ? "done" : spot.number === at ? "next" : "missing";
		mark.setAttribute("class", "spot " + state);
	});
}

function draw() {
	if (!section()) return;
	const spots = [...section().querySelectorAll("tr[data-spot]")].map(spotOf);
	const flags = spots.map((s) => s.absent ? "" : flagOf(s));
	spots.forEach((s, i) => drawRow(s, flags[i]));
	drawSketch(spots, flags);
	const done = spots.filter((s) => s.mean !== null && !s.absent);
	const unit = section().dataset.unit;
	const sofar = section().querySelector("[data-sofar]");
	const word = section().querySelector("[data-sofar-flag]");
	word.textContent = "";
	word.className = "flag";
	if (done.length === 0) {
		sofar.textContent = "No spot is complete yet.";
	} else {
		const decimals = Math.max(...done.map((s) => s.decimals));
		const mean = done.reduce((sum, s) => sum + s.mean, 0) / done.length;
		const lowest = done.reduce((a, s) => s.mean < a.mean ? s : a);
		sofar.textContent = `So far: mean of ${done.length} ${done.length === 1 ? "spot" : "spots"} ${mean.toFixed(decimals)} ${unit}, lowest spot ${lowest.mean.toFixed(decimals)} ${unit}`;
	}
	const bad = flags.findIndex((f) => f !== "");
	if (bad >= 0) {
		const { low, high, floor } = section().dataset;
		const limit = flags[bad] === "low" ? (floor !== "" ? floor : low) : high;
		word.className = "flag " + flags[bad];
		word.textContent = `${flags[bad] === "low" ? "Thin" : "Thick"} at spot ${spots[bad].number}: ${flags[bad] === "low" ? "below" : "above"} ${limit} ${unit}`;
	}
}

document.addEventListener("landed", draw);
document.addEventListener("focusin", draw);
document.addEventListener("swapped", draw);
document.addEventListener("restored", draw);
document.addEventListener("change", (event) => {
	const named = /^spot-(\d+)-absent$/.exec(event.target.name || "");
	if (!named) return;
	document.querySelector(`tr[data-spot="${named[1]}"]`).classList.toggle("absent", event.target.value !== "");
	draw();
});
draw();
