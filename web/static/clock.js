// Measures how far this device's clock is from the server's and stamps every entry with the device's time and that offset.

const told = document.querySelector("meta[name=server-time]");
// The answer's first byte left the server at about the time it names; responseStart is that moment on this device's clock.
const arrived = performance.timeOrigin + (performance.getEntriesByType("navigation")[0]?.responseStart || 0);

// offset is device time minus server time in whole milliseconds.
export const offset = told ? Math.round(arrived - Date.parse(told.content)) : 0;

// stamp fills in when the entry was made, unless the person named an earlier time.
export function stamp(form) {
	const observed = form.elements.observed_at;
	if (!observed) return;
	const seen = form.elements.seen_at?.value;
	observed.value = withZone(seen ? new Date(seen) : new Date());
	form.elements.clock_offset_ms.value = String(offset);
}

// withZone writes a time as RFC 3339 with the device's own offset from UTC.
function withZone(time) {
	const minutes = -time.getTimezoneOffset();
	const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
	const local = new Date(time.getTime() + minutes * 60000).toISOString().slice(0, -1);
	return local + (minutes < 0 ? "-" : "+") + two(minutes / 60) + ":" + two(minutes % 60);
}

document.addEventListener("submit", (event) => stamp(event.target), true);

// An offer that stands for a while goes when its time is over; the server refuses it from then on anyway.
for (const offer of document.querySelectorAll("[data-seconds]")) setTimeout(() => offer.remove(), Number(offer.dataset.seconds) * 1000);
