"use strict";
// The pages work without this. It answers typing at once and keeps what is being typed.
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-print], [data-copy], [data-share]");
  if (!button) return;
  if ("print" in button.dataset) window.print();
  // Who closes the telephone's own list of ways to send has not failed at anything.
  else if ("share" in button.dataset) navigator.share({ title: document.title, url: button.dataset.share }).catch(() => {});
  else {
    await navigator.clipboard?.writeText(button.dataset.copy);
    button.textContent = navigator.clipboard ? document.body.dataset.toldCopied : document.body.dataset.toldBelow;
  }
});
const offerToSend = () => {
  for (const button of document.querySelectorAll("[data-share]")) button.hidden = !navigator.share;
};
offerToSend();
// Another value tried in the field of the next step changes answer, picture and address at once; the field stays.
const step = document.querySelector("form.step");
if (step) {
  let timer = 0;
  let latest = 0;
  const told = [".asked", ".outcome > .mark", ".outcome .said", ".page", ".folds", ".actions", ".sheet"];
  const tryOut = async () => {
    const turn = ++latest;
    const query = new URLSearchParams(new FormData(step));
    const button = step.querySelector("button[name]");
    if (button) query.set(button.name, button.value);
    try {
      const reply = await fetch(`/answer?${query}`, { headers: { Accept: "text/html" } });
      const fresh = new DOMParser().parseFromString(await reply.text(), "text/html");
      const outcome = fresh.querySelector(".outcome");
      // What cannot be read yet, as half a number, leaves the answer as it is until the button is pressed.
      if (turn !== latest || !reply.ok || !outcome) return;
      document.querySelector(".outcome").className = outcome.className;
      for (const one of told) {
        const here = document.querySelector(one);
        const there = fresh.querySelector(one);
        if (!here || !there) continue;
        here.className = there.className;
        here.replaceChildren(...there.childNodes);
      }
      document.title = fresh.title;
      history.replaceState(null, "", reply.url);
      offerToSend();
    } catch {
      // Without an answer the page stays as it is; its button still works.
    }
  };
  step.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(tryOut, 300);
  });
}
