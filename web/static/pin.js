// The keys of the sign-on page write into the PIN.

const pin = () => document.querySelector("input[data-pin]");

document.addEventListener("click", (event) => {
	const key = event.target.closest("[data-pin-keys] [data-key]");
	if (!key || !pin()) return;
	const what = key.dataset.key;
	if (what === "clear") pin().value = "";
	else if (what === "back") pin().value = pin().value.slice(0, -1);
	else if (pin().value.length < pin().maxLength) pin().value += what;
	pin().focus();
});
// Choosing a name takes the focus on to the PIN.
document.addEventListener("change", (event) => { if (event.target.name === "person") pin()?.focus(); });
if (pin() && matchMedia("(pointer: coarse)").matches) pin().inputMode = "none";
