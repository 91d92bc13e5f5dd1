// Says something in the page's live region, so that it is seen and heard without moving the focus.

// say shows a sentence. With urgent it is read at once and a short low tone is played, for hands and eyes that are elsewhere.
export function say(sentence, urgent = false) {
	const region = document.getElementById("said");
	if (!region) return;
	region.setAttribute("aria-live", urgent ? "assertive" : "polite");
	region.textContent = sentence;
	clearTimeout(region.timer);
	region.timer = setTimeout(() => { region.textContent = ""; }, urgent ? 12000 : 6000);
	if (urgent) tone();
}

// One for all tones: a browser allows few.
let audio = null;

function tone() {
	try {
		audio ||= new AudioContext();
		const sound = audio.createOscillator();
		sound.frequency.value = 220;
		sound.connect(audio.destination);
		sound.start();
		sound.stop(audio.currentTime + 0.15);
	} catch { /* no sound without a loudspeaker or before the first touch; the words stand anyway */ }
}
