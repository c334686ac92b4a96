"use strict";
// The pages work without this. It answers typing at once and keeps what is being typed.
document.documentElement.classList.add("is-scripted");
for (const button of document.querySelectorAll("[data-print]")) {
  button.addEventListener("click", () => window.print());
}
const form = document.querySelector("form[data-live]");
if (form) {
  let timer = 0;
  let latest = 0;
  const typed = () => {
    const query = new URLSearchParams(new FormData(form));
    for (const [name, value] of [...query]) if (!value.trim()) query.delete(name, value);
    return query;
  };
  const replace = (part, fresh) => {
    if (part.innerHTML === fresh.innerHTML) return;
    const active = document.activeElement;
    const focused = part.contains(active) ? active.id : "";
    const kept = new Map();
    for (const field of part.querySelectorAll("input:not([type=radio]), select")) kept.set(field.id, field.value);
    const open = [...part.querySelectorAll("details[open]")].map((one) => one.id);
    part.replaceChildren(...fresh.childNodes);
    for (const [id, value] of kept) {
      const field = document.getElementById(id);
      if (field && part.contains(field)) field.value = value;
    }
    for (const id of open) {
      const details = document.getElementById(id);
      if (details) details.open = true;
    }
    if (focused) document.getElementById(focused)?.focus();
  };
  const update = async () => {
    clearTimeout(timer);
    const turn = ++latest;
    try {
      const reply = await fetch("/?" + typed(), { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await reply.text(), "text/html");
      if (turn !== latest) return;
      for (const part of form.querySelectorAll("[data-part]")) {
        const fresh = page.getElementById(part.id);
        // A part with parts of its own keeps its fields, and those change one by one.
        const nested = (one) => one.querySelector("[data-part]") !== null;
        if (fresh && !(nested(part) && nested(fresh))) replace(part, fresh);
      }
    } catch {
      // Without an answer the page stays as it is; its buttons still work.
    }
  };
  form.addEventListener("input", (event) => {
    if (event.target.matches("[data-find]")) {
      clearTimeout(timer);
      timer = setTimeout(update, 150);
    }
  });
  form.addEventListener("change", (event) => {
    if (event.target.name === "about") {
      for (const part of form.querySelectorAll("[data-shown-for]")) {
        part.hidden = !part.dataset.shownFor.split(" ").includes(event.target.value);
      }
    }
    if (event.target.matches("[type=radio], select")) update();
  });
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    if (event.target.matches("[data-find]")) update();
    else form.requestSubmit(document.getElementById("answer"));
  });
  // Leave out what is empty, so that the address stays short.
  form.addEventListener("formdata", (event) => {
    for (const [name, value] of [...event.formData]) if (typeof value === "string" && !value.trim()) event.formData.delete(name);
  });
}
