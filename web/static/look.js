// Keeps the look of the screen (paper, dark, glare) on this browser. It runs before the page is painted, so that no page
// flashes in the wrong look; everything else it does waits for the page.
"use strict";
(function () {
	const looks = ["", "theme-dark", "theme-glare"];
	const words = ["Paper", "Dark", "Glare"];
	const root = document.documentElement;
	let kept = null;
	try { kept = localStorage.getItem("look"); } catch { /* storage may be switched off; the server's choice stays */ }
	if (looks.includes(kept)) wear(kept);
	root.classList.add("scripted");

	function wear(look) {
		for (const other of looks) if (other) root.classList.remove(other);
		if (look) root.classList.add(look);
	}
	function current() {
		return looks.findIndex((look) => look && root.classList.contains(look)) < 0 ? 0 : looks.findIndex((look) => look && root.classList.contains(look));
	}
	document.addEventListener("DOMContentLoaded", function () {
		const button = document.getElementById("look");
		if (!button) return;
		const label = button.querySelector("span");
		button.hidden = false;
		label.textContent = words[current()];
		button.addEventListener("click", function () {
			const next = (current() + 1) % looks.length;
			wear(looks[next]);
			label.textContent = words[next];
			try { localStorage.setItem("look", looks[next]); } catch { /* the look then lasts for this page */ }
			document.cookie = "look=" + looks[next].replace("theme-", "") + "; path=/; max-age=31536000; samesite=lax";
		});
	});
})();
