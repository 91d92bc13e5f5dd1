// Starts the worker that keeps the safety data sheets on this tablet, and has it look for changes. The worker's address carries
// the release, so that a new release brings its own. A browser has no worker without HTTPS, or where it does not trust the
// certificate; there the list alone is fetched, which the browser itself may keep for a shift.

async function start() {
	const registration = await navigator.serviceWorker.register(new URL("sheets-worker.js", import.meta.url), { scope: "/sheets" });
	// A list that came through the worker was looked at on its way.
	if (!navigator.serviceWorker.controller) (registration.installing || registration.waiting || registration.active).postMessage("renew");
}
start().catch(() => fetch("/sheets")).catch(() => { /* no network: the next page tries again */ });
