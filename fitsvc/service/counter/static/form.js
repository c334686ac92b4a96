"use strict";
// A form that is answered while it is filled, and keeps what is being typed. It works without this, by its buttons.
const form = document.querySelector("form[data-live]");
if (form) {
  let timer = 0;
  let latest = 0;
  const told = "input:not([type=radio], [type=checkbox], [type=hidden]), select";
  const typed = () => new URLSearchParams(new FormData(form));
  // What is shown has an address, so that it comes back by Back and by reloading.
  const keep = () => {
    const query = typed();
    for (const name of [...query.keys()]) if (name === "on" || name.startsWith("seen.")) query.delete(name);
    history.replaceState(null, "", query.size ? `${form.dataset.live}?${query}` : form.dataset.live);
  };
  const replace = (part, fresh, sent) => {
    if (part.innerHTML === fresh.innerHTML) {
      // The same choices, of which the service may have made another than is marked.
      for (const one of part.querySelectorAll("[type=radio]")) one.checked = one.defaultChecked;
      return;
    }
    const active = document.activeElement;
    const focused = part.contains(active) ? active.id : "";
    const kept = new Map();
    for (const field of part.querySelectorAll(told)) if (field.value !== sent.get(field.id)) kept.set(field.id, field.value);
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
  // What was found, and which fields came, is told by one node that stays: of one that is replaced nobody hears.
  const heard = document.getElementById("heard");
  const titles = () => [...form.querySelectorAll("[data-part] > :is(fieldset, details) > :is(legend, summary)")].map((one) => one.firstChild.textContent.trim());
  const statuses = () => new Map([...form.querySelectorAll("[data-part] > .status")].map((one) => [one.parentElement.id, one.textContent.trim()]));
  const tell = (before, there) => {
    const found = [...statuses()].filter(([id, text]) => text && text !== before.get(id)).map(([, text]) => text);
    heard.textContent = [...found, ...titles().filter((title) => !there.includes(title))].join(" ");
  };
  const parts = (one) => [...one.querySelectorAll("[data-part]")].map((part) => part.id).join();
  const update = async () => {
    clearTimeout(timer);
    timer = 0;
    form.setAttribute("aria-busy", "true");
    const turn = ++latest;
    const before = statuses();
    const there = titles();
    const sent = new Map([...form.querySelectorAll(told)].map((field) => [field.id, field.value]));
    try {
      for (const one of document.querySelectorAll("[data-answered]")) one.hidden = true; // to what was asked before
      const reply = await fetch(`${form.dataset.live}?draft=yes&${typed()}`, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await reply.text(), "text/html");
      if (turn !== latest) return;
      // What is still being typed is kept; all else is what the service made of it.
      for (const field of form.querySelectorAll(told)) {
        const fresh = page.getElementById(field.id);
        if (fresh && field.value === sent.get(field.id) && field.value !== fresh.value) field.value = fresh.value;
      }
      for (const part of form.querySelectorAll("[data-part]")) {
        const fresh = page.getElementById(part.id);
        // A part with parts of its own keeps its fields while it has the same ones, and those change one by one.
        if (fresh && part.isConnected && !(parts(part) && parts(part) === parts(fresh))) replace(part, fresh, sent);
      }
      keep();
      tell(before, there);
    } catch {
      // Without an answer the page stays as it is; its buttons still work.
    } finally {
      if (turn === latest && !timer) form.removeAttribute("aria-busy");
    }
  };
  form.addEventListener("input", (event) => {
    if (event.target.matches("[data-find]")) {
      clearTimeout(timer);
      form.setAttribute("aria-busy", "true");
      timer = setTimeout(update, 150);
    }
  });
  form.addEventListener("change", (event) => {
    if (event.target.name === "about") {
      for (const part of form.querySelectorAll("[data-shown-for]")) {
        part.hidden = !part.dataset.shownFor.split(" ").includes(event.target.value);
      }
    }
    if (!event.target.matches("[data-find]")) update();
  });
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    if (event.target.matches("[data-find]")) update();
    else form.requestSubmit(document.getElementById("answer"));
  });
  // Empty fields tell nothing, but for the text that a list was shown for beside another that is typed now.
  form.addEventListener("formdata", (event) => {
    const data = event.formData;
    for (const [name, value] of [...data]) {
      const counts = name.startsWith("seen.") && data.get(name.replace("seen.", "find."));
      if (typeof value === "string" && !value.trim() && !counts) data.delete(name);
    }
  });
}
