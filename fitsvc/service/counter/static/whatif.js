"use strict";
// The page works without this. It checks what is typed by itself, and leads from a fault to its place in the text.
{
  const form = document.querySelector("form[data-whatif]"), text = document.getElementById("text");
  const status = form.querySelector("[data-status]");
  let timer = 0, latest = 0, shown = text.value;
  const check = async () => {
    const turn = ++latest, typed = text.value;
    if (typed === shown) return;
    const body = new URLSearchParams(new FormData(form));
    body.set("do", "check");
    try {
      const reply = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/html" } });
      if (turn !== latest) return;
      const fresh = new DOMParser().parseFromString(await reply.text(), "text/html").getElementById("checked");
      if (!fresh || turn !== latest) return;
      const checked = document.getElementById("checked"), brought = document.getElementById("brought");
      checked.replaceChildren(...fresh.childNodes);
      status.textContent = fresh.dataset.told;
      if (checked.querySelector(".faults")) text.setAttribute("aria-invalid", "true"); else text.removeAttribute("aria-invalid");
      const stale = brought.childElementCount > 0;
      brought.classList.toggle("stale", stale);
      form.querySelector("[data-stale]").hidden = !stale;
      shown = typed;
    } catch {
      // Without an answer the page stays as it is; its buttons still work.
    }
  };
  text.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(check, 350); });
  document.getElementById("checked").addEventListener("click", (event) => {
    const link = event.target.closest("a[data-line]");
    if (!link) return;
    event.preventDefault();
    const lines = text.value.split("\n"), line = Number(link.dataset.line) - 1;
    const start = lines.slice(0, line).reduce((sum, one) => sum + one.length + 1, 0);
    const at = Math.min(start + Number(link.dataset.column) - 1, start + (lines[line] ?? "").length);
    text.focus();
    text.setSelectionRange(at, start + (lines[line] ?? "").length);
  });
}
