// Keeps the list of safety data sheets and every sheet that it names on this tablet, and answers for them when the network is
// gone. Its scope is /sheets: the browser sends it what those pages ask for and nothing else. Records, forms, the outbox and
// sign-on never pass through here, because an answer out of a cache in their place would be wrong or another person's. What is
// kept is the same for everybody; the server's pages under /sheets name no person.

"use strict";

const LIST = "/sheets";
const KEPT = "sheets";
// How long the network may take before the kept list is shown in its place.
const PATIENCE_MS = 3000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("message", (event) => {
	if (event.data === "renew") fetchList(event).catch(() => { /* no network: what is kept stays */ });
});
self.addEventListener("fetch", (event) => {
	const url = new URL(event.request.url);
	if (event.request.method !== "GET" || url.origin !== location.origin) return;
	if (url.pathname === LIST) event.respondWith(list(event));
	else if (url.pathname.startsWith(`${LIST}/`) || url.pathname.startsWith("/static/")) event.respondWith(kept(event.request));
});

const find = (address) => caches.match(address, { ignoreVary: true });

// list is the server's answer, or the kept list where the server is silent, late or in trouble.
async function list(event) {
	const asked = fetchList(event);
	const copy = await find(LIST);
	if (!copy) return passed(await asked);
	const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
	const answer = await Promise.race([asked.catch(() => null), late]);
	return answer && answer.status < 500 ? passed(answer) : copy;
}

// A browser takes no page from a worker that was led on to another address; it has to be led on itself.
const passed = (answer) => (answer.redirected ? Response.redirect(answer.url) : answer);

// kept is a sheet or a file of the page's look. Their addresses change with their content, so a copy is as good as the server's.
async function kept(request) {
	const copy = await find(request.url);
	if (copy) return copy;
	try {
		return await fetch(request);
	} catch (gone) {
		if (!new URL(request.url).pathname.startsWith(`${LIST}/`)) throw gone;
		return new Response("There is no network, and this sheet is not kept on this tablet. Take the paper copy; the list says where it is.",
			{ status: 503, headers: { "Content-Type": "text/plain; charset=utf-8" } });
	}
}

// One renewal at a time, in the order in which they were asked for: the last list is the one that stays.
let turn = Promise.resolve();

// fetchList asks the server for the list and keeps what it names.
function fetchList(event) {
	const asked = fetch(LIST, { cache: "no-cache" });
	const copy = asked.then((answer) => answer.clone());
	turn = Promise.allSettled([copy, turn]).then(([answer]) => answer.value && keep(answer.value)).catch(() => { /* no room: what is kept stays */ });
	event.waitUntil(turn);
	return asked;
}

async function keep(answer) {
	// Whoever is sent away is no tablet of the shop any more.
	if (answer.redirected || answer.status === 401 || answer.status === 403) return caches.delete(KEPT);
	if (!answer.ok) return;
	const page = await answer.clone().text();
	const wanted = new Set([...page.matchAll(/(?:href|src)="((?:\/sheets|\/static)\/[^"]+)"/g)].map((match) => match[1]));
	const cache = await caches.open(KEPT);
	// A sheet that does not come is tried again with the next renewal; the others are kept.
	await Promise.allSettled([...wanted].map(async (address) => { if (!await cache.match(address, { ignoreVary: true })) await cache.add(address); }));
	await cache.put(LIST, answer);
	wanted.add(LIST);
	for (const request of await cache.keys()) {
		if (!wanted.has(new URL(request.url).pathname)) await cache.delete(request, { ignoreVary: true });
	}
}
