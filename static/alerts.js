// The band of alerts looks for itself whether there are others by now. Without this script it is as it was when the page came.
"use strict";
(() => {
  const EVERY_MS = 15000;

  async function look() {
    const band = document.getElementById("alerts-band");
    if (!band || document.hidden) return;
    try {
      const answer = await fetch("/alerts/band", { cache: "no-store", redirect: "error" });
      if (!answer.ok) return;
      const next = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("alerts-band");
      // What says the same stays, and with it the place of whoever walks through the page by keyboard.
      if (next && next.textContent !== band.textContent) band.replaceChildren(...next.childNodes);
    } catch (_) {
      // The board itself says since when it is not current.
    }
  }

  setInterval(look, EVERY_MS);
  document.addEventListener("visibilitychange", look);
})();
