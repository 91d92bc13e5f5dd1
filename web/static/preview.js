// While the review is open it shows what the book would decide about the values typed so far. Nothing is stored by asking.

const form = () => document.querySelector("form[data-entry]");
let asked = 0;

async function preview() {
	const place = document.querySelector("[data-preview]");
	if (!form() || !place) return;
	const mine = ++asked;
	const body = new URLSearchParams(new FormData(form()));
	body.delete("override-pin");
	body.set("preview", "1");
	try {
		const answer = await fetch(form().action, { method: "POST", body, headers: { "X-Fragment": "1" }, signal: AbortSignal.timeout(8000) });
		if (!answer.ok || answer.redirected) return;
		const html = await answer.text();
		// Only the newest answer counts.
		if (mine === asked) place.innerHTML = html;
	} catch {
		if (mine === asked) place.textContent = "The book cannot be reached, so the verdict comes when the entry is saved. Saving keeps it on this tablet until then.";
	}
}

let timer = 0;
function later() {
	clearTimeout(timer);
	if (form()?.classList.contains("reviewing")) timer = setTimeout(preview, 300);
}
document.addEventListener("review", preview);
document.addEventListener("change", later);
document.addEventListener("restored", later);
