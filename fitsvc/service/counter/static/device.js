"use strict";
// What stays on this device: rigs under a name, and the last ten questions. Nothing of it is sent anywhere.
{
  const RIGS = "fitsvc.rigs", LATELY = "fitsvc.lately", MOST_RIGS = 100, MOST_ASKED = 10, MOST_TOLD = 200;
  const OF_RIG = /^(rig|vehicle|receiver|mounting|spare|adapter|units)(\.|$)/;
  const kept = (name) => { try { const found = JSON.parse(localStorage.getItem(name)); return Array.isArray(found) ? found : []; } catch { return []; } };
  const keep = (name, value) => { try { localStorage.setItem(name, JSON.stringify(value)); } catch { /* a device that keeps nothing */ } };
  const words = document.querySelector("[data-device]")?.dataset ?? {};
  const pressed = (sign, label, act) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = sign;
    button.setAttribute("aria-label", label);
    button.addEventListener("click", act);
    return button;
  };
  const line = (href, text, asked, forget, rename) => {
    const item = document.createElement("li"), link = document.createElement("a");
    link.href = href;
    link.textContent = text;
    if (asked) link.append(Object.assign(document.createElement("small"), { textContent: asked }));
    item.append(pressed("✕", `${words.toldForget} ${text}`, () => { forget(); fill(); }),
      pressed("✎", `${words.toldRename} ${text}`, () => {
        const field = document.createElement("input");
        field.value = text;
        field.maxLength = 80;
        field.setAttribute("aria-label", `${words.toldNamed} ${text}`);
        // Left empty, or left by Escape, it keeps the name it had.
        const end = (name) => { if (name.trim()) rename(name.trim()); fill(); };
        field.addEventListener("keydown", (event) => {
          if (event.key === "Enter" || event.key === "Escape") end(event.key === "Enter" ? field.value : "");
        });
        field.addEventListener("change", () => end(field.value));
        link.replaceWith(field);
        field.focus();
      }), link);
    return item;
  };
  const fill = () => {
    const device = document.querySelector("[data-device]");
    if (!device) return;
    const rigs = kept(RIGS), lately = kept(LATELY);
    for (const [part, name, all, to] of [["[data-rigs]", RIGS, rigs, "/"], ["[data-lately]", LATELY, lately, "/answer"]]) {
      const place = device.querySelector(part);
      const same = (one) => (other) => other.query === one.query && other.told === one.told;
      place.querySelector("ul").replaceChildren(...all.map((one) => line(`${to}?${one.query}`, one.told, one.asked,
        () => keep(name, kept(name).filter((other) => !same(one)(other))),
        (told) => keep(name, kept(name).map((other) => (same(one)(other) ? { ...other, told } : other))))));
      place.hidden = all.length === 0;
    }
    device.hidden = rigs.length + lately.length === 0;
  };
  document.querySelector("[data-forget]")?.addEventListener("click", () => { keep(RIGS, []); keep(LATELY, []); fill(); });
  const form = document.querySelector("form[data-keep-rig]");
  if (form) {
    const query = location.search.slice(1);
    const parts = [...document.querySelectorAll(".asked bdi")].map((part) => part.textContent);
    const asked = { query, told: form.dataset.told, asked: parts.join(" · ").slice(0, MOST_TOLD) };
    keep(LATELY, [asked, ...kept(LATELY).filter((one) => one.query !== query)].slice(0, MOST_ASKED));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const rig = new URLSearchParams([...new URLSearchParams(query)].filter(([name]) => OF_RIG.test(name)));
      const told = form.querySelector("input").value.trim();
      keep(RIGS, [{ query: String(rig), told }, ...kept(RIGS).filter((one) => one.told !== told)].slice(0, MOST_RIGS));
      form.querySelector("[role=status]").textContent = document.body.dataset.toldKept;
    });
  }
  fill();
}
