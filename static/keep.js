// Ticks outlive a network that is gone. What is ticked or typed into a form marked data-keep is kept on this device until
// the form was taken; where the server does not answer, nothing is sent and the page says so. Without this script every
// form posts as it is, and the way back leads to what was ticked.
"use strict";
(() => {
  const PATIENCE_MS = 5000;
  const forms = [...document.querySelectorAll("form[data-keep]")];
  if (forms.length === 0) return;
  const store = (() => {
    try {
      return window.sessionStorage;
    } catch (_) {
      return null;
    }
  })();
  const place = (form) => `keep ${location.pathname} ${form.dataset.keep || forms.indexOf(form)}`;
  const fields = (form) =>
    [...form.elements].filter((field) => field.name && field.type !== "hidden" && field.type !== "password" && field.type !== "file");
  const isTick = (field) => field.type === "checkbox" || field.type === "radio";

  function keep(form) {
    const kept = fields(form).map((field) => [field.name, field.value, isTick(field) ? field.checked : null]);
    try {
      store?.setItem(place(form), JSON.stringify(kept));
    } catch (_) {
      // A full store keeps nothing; the form itself still holds it.
    }
  }

  function bringBack(form) {
    let kept = [];
    try {
      kept = JSON.parse(store?.getItem(place(form)) || "[]");
    } catch (_) {
      return;
    }
    for (const field of fields(form)) {
      const was = kept.find(([name, value]) => name === field.name && (!isTick(field) || value === field.value));
      if (!was) continue;
      if (isTick(field)) field.checked = was[2] === true;
      else if (field.value === "") field.value = was[1];
    }
  }

  function say(form, words) {
    let band = form.querySelector(".band");
    if (!band) {
      band = document.createElement("p");
      band.className = "band refused";
      band.setAttribute("role", "alert");
      form.append(band);
    }
    band.textContent = words;
  }

  async function answers() {
    if (navigator.onLine === false) return false;
    const given = new AbortController();
    const timer = setTimeout(() => given.abort(), PATIENCE_MS);
    try {
      await fetch("/health", { cache: "no-store", signal: given.signal });
      return true;
    } catch (_) {
      return false;
    } finally {
      clearTimeout(timer);
    }
  }

  // An act that was recorded leaves its entry in the address: what was kept for this page has done its work.
  const isDone = new URLSearchParams(location.search).has("done");
  for (const form of forms) {
    if (isDone) store?.removeItem(place(form));
    else bringBack(form);
    form.addEventListener("change", () => keep(form));
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      keep(form);
      const button = event.submitter;
      if (button) button.disabled = true;
      const is = await answers();
      if (button) button.disabled = false;
      if (!is) {
        say(form, "Not sent: the server does not answer. Nothing is lost: what you ticked stays here. Send it again when the network is back.");
        return;
      }
      if (button?.name) {
        const sent = document.createElement("input");
        sent.type = "hidden";
        sent.name = button.name;
        sent.value = button.value;
        form.append(sent);
      }
      form.submit();
    });
  }
})();
