"use strict";
// Measuring works without this. It gives keys for the thumb, and keeps what is read on the phone until it is sent, once.
{
  const VISITS = "fitsvc.visits", UNSENT = "fitsvc.unsent", KEY = "fitsvc.key";
  const kept = (name) => { try { return JSON.parse(localStorage.getItem(name)) ?? {}; } catch { return {}; } };
  const keep = (name, value) => { try { localStorage.setItem(name, JSON.stringify(value)); } catch { /* a phone that keeps nothing */ } };
  const main = document.getElementById("main"), words = () => main.querySelector("[data-visit]")?.dataset ?? {};
  const say = (text) => { const line = main.querySelector("[data-line]"); if (line) line.textContent = text; };

  // Figures in sixteenths of an inch, or whole millimetres.
  const read = (text) => {
    const found = /^\s*(-)?(?:(\d+(?:\.\d+)?))?(?:(?:^|[-\s]+|(?<=\d)-)(\d+)\/(\d+))?\s*(?:in|mm|")?\s*$/.exec(text.replace(/^\s*(-)?\s*(\d+)\/(\d+)/, "$10 $2/$3"));
    if (!found || (found[2] === undefined && found[3] === undefined)) return 0;
    const size = Number(found[2] ?? 0) + (found[3] ? Number(found[3]) / Number(found[4]) : 0);
    return found[1] ? -size : size;
  };
  const write = (inches) => {
    const count = Math.round(Math.abs(inches) * 16), whole = Math.floor(count / 16);
    let part = count % 16, of = 16;
    while (part && part % 2 === 0) { part /= 2; of /= 2; }
    const text = part ? (whole ? `${whole}-${part}/${of}` : `${part}/${of}`) : `${whole}`;
    return inches < 0 && count ? `-${text}` : text;
  };
  const button = (text, label, press) => {
    const one = document.createElement("button");
    one.type = "button";
    one.textContent = text;
    if (label) one.setAttribute("aria-label", label);
    one.addEventListener("click", press);
    return one;
  };
  const dress = (form) => {
    const input = form.querySelector(".reader input"), keys = form.querySelector("[data-keys]");
    if (!input || !keys || keys.childElementCount) return;
    if (!form.dataset.unit && !/^\d*$/.test(input.placeholder)) return;
    const tape = form.dataset.length !== undefined && form.dataset.unit === "in";
    const eighths = form.querySelector("[data-eighths]");
    const told = () => { const size = read(input.value); for (const [n, one] of [...eighths.children].entries()) one.setAttribute("aria-pressed", String(Math.round((Math.abs(size) % 1) * 16) === n * 2 + 2)); };
    const digit = (n) => {
      if (!tape) input.value += n;
      else {
        const size = read(input.value), whole = Math.floor(Math.abs(size)), rest = Math.abs(size) % 1;
        const next = Number(`${whole || ""}${n}`) + rest;
        input.value = write(next < 1000 ? (input.value.trim().startsWith("-") ? -next : next) : size);
      }
      told();
    };
    keys.replaceChildren(
      ...[1, 2, 3, 4, 5].map((n) => button(String(n), "", () => digit(n))),
      button("⌫", words().toldBack, () => { input.value = tape ? "" : input.value.slice(0, -1); told(); }),
      ...[6, 7, 8, 9, 0].map((n) => button(String(n), "", () => digit(n))),
      form.dataset.length === undefined ? button(".", words().toldPoint, () => { if (!input.value.includes(".")) input.value += "."; })
        : button("±", words().toldSide, () => { input.value = input.value.startsWith("-") ? input.value.slice(1) : `-${input.value}`; told(); }),
    );
    keys.hidden = false;
    if (!tape) return;
    eighths.replaceChildren(...["1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8"].map((text, n) => button(text, "", () => {
      const size = Math.abs(read(input.value)), eighth = (n + 1) / 8;
      const next = Math.floor(size) + (size % 1 === eighth ? 0 : eighth);
      input.value = write(input.value.startsWith("-") ? -next : next);
      told();
    })));
    eighths.hidden = false;
    for (const one of form.querySelectorAll("[data-step]")) {
      one.hidden = false;
      one.addEventListener("click", () => { input.value = write(read(input.value) + Number(one.dataset.step) / 16); told(); });
    }
    input.addEventListener("input", told);
    told();
  };

  // A visit is its address. What is kept of it here is that address, until it has been sent.
  const state = (form) => {
    const found = new URLSearchParams(new FormData(form));
    for (const name of ["ask", "value", "tool", "cannot.now", "tyre", "came", "sku", "state", "result", "gap", "through", "by", "key", "at", "condition", "note", "photo", "send"]) found.delete(name);
    return found;
  };
  const remember = (params) => {
    const visit = main.querySelector("[data-visit]");
    if (!visit || !params) return;
    const all = kept(VISITS);
    all[visit.dataset.visit] = { query: String(params), label: visit.dataset.label };
    keep(VISITS, Object.fromEntries(Object.entries(all).slice(-50)));
  };
  const show = (text, address) => {
    const page = new DOMParser().parseFromString(text, "text/html");
    main.replaceChildren(...page.getElementById("main").childNodes);
    document.title = page.title;
    if (address) history.replaceState(null, "", address);
    begin();
    main.focus();
    window.scrollTo(0, 0);
  };
  const after = (form, cannot) => {
    const found = state(form), fact = form.dataset.ask, data = new FormData(form);
    if (cannot) {
      found.set("cannot", [...(found.get("cannot") || "").split(",").filter(Boolean), fact].join(","));
      return [found, words().toldCannot];
    }
    let text = String(data.get("value") ?? "").trim();
    const tool = data.get("tool"), chosen = form.querySelector("input[name=tool]:checked");
    if (form.dataset.unit && /^[-−]?[\d.,/ -]*\d$/.test(text)) text += ` ${form.dataset.unit}`;
    if (chosen && !/±|\+|least|most|exactly/i.test(text)) text += ` ${chosen.nextElementSibling.firstChild.textContent.trim()}`;
    found.set(fact, text);
    if (tool) found.set(`with.${fact}`, tool);
    return [found, text];
  };
  const offline = (form, params, text) => {
    const later = main.querySelector("template[data-later]"), now = main.querySelector("[data-now]");
    const list = main.querySelector("[data-kept]"), item = document.createElement("li");
    item.textContent = `${form.querySelector("h1").textContent}: ${text}`;
    list.append(item);
    main.querySelector("#kept .count").textContent = String(list.childElementCount);
    const next = later?.content.firstElementChild;
    if (next) now.replaceChildren(next);
    else { const told = document.createElement("h1"); told.textContent = words().toldNothing; now.replaceChildren(told); }
    for (const other of main.querySelectorAll("form")) carry(other, params);
    for (const other of later?.content.querySelectorAll("form") ?? []) carry(other, params);
    say(words().toldOffline);
    begin();
  };
  const carry = (form, params) => {
    const own = new Set(["ask", "at"]);
    for (const one of form.querySelectorAll("input[type=hidden]")) if (!own.has(one.name)) one.remove();
    for (const [name, value] of params) {
      const one = document.createElement("input");
      one.type = "hidden"; one.name = name; one.value = value;
      form.prepend(one);
    }
  };
  const SLOW = 400;
  let turn = 0;
  const touched = () => [...(main.querySelector("[data-now] form")?.elements ?? [])].some((one) => one.name === "value" && (one.type === "radio" ? one.checked : one.value !== one.defaultValue));
  const answer = async (form, cannot) => {
    const [params, text] = after(form, cannot), mine = ++turn, address = `/measure?${params}`;
    remember(params);
    // On a slow line the next question comes from the phone, and what the service makes of the reading follows.
    let ahead = false;
    const goOn = setTimeout(() => {
      ahead = true;
      offline(form, params, text);
      history.replaceState(null, "", address);
      say(words().toldSlow);
    }, SLOW);
    try {
      const reply = await fetch(address, { headers: { Accept: "text/html" } });
      if (reply.status >= 500) throw new Error("later");
      const told = await reply.text();
      clearTimeout(goOn);
      if (mine !== turn) return;
      if (!ahead || !reply.ok || !touched()) { show(told, address); return; }
      const line = main.querySelector(".tallyline"), fresh = new DOMParser().parseFromString(told, "text/html").querySelector(".tallyline");
      if (line && fresh) line.replaceChildren(...fresh.childNodes);
      say("");
    } catch {
      clearTimeout(goOn);
      if (!ahead) offline(form, params, text);
      say(words().toldOffline);
    }
  };

  // What is to be sent waits here until the service has it; the same statement told twice is recorded once.
  let sending = false;
  const flush = async () => {
    let key = "";
    try { key = sessionStorage.getItem(KEY) ?? ""; } catch { /* not kept */ }
    if (sending || !key) return;
    sending = true;
    try {
      for (const [place, body] of Object.entries(kept(UNSENT))) {
        const form = new URLSearchParams(body);
        form.set("key", key);
        const reply = await fetch("/measure", { method: "POST", body: form });
        if (reply.status >= 500) throw new Error("later");
        const all = kept(UNSENT);
        delete all[place];
        keep(UNSENT, all);
        const here = main.querySelector("[data-visit]")?.dataset.visit === place;
        if (reply.ok) { const visits = kept(VISITS); delete visits[place]; keep(VISITS, visits); }
        if (reply.status === 401) try { sessionStorage.removeItem(KEY); } catch { /* not kept */ }
        if (here) show(await reply.text());
      }
    } catch {
      say(words().toldWaiting);
      setTimeout(flush, 15000);
    } finally {
      sending = false;
    }
  };
  const begin = () => {
    for (const form of main.querySelectorAll("form[data-ask]")) {
      dress(form);
      if (form.dataset.ready) continue;
      form.dataset.ready = "yes";
      form.addEventListener("submit", (event) => { event.preventDefault(); answer(form, event.submitter?.name === "cannot.now"); });
    }
    const send = main.querySelector("form[data-send]");
    if (send) {
      try { send.elements.key.value ||= sessionStorage.getItem(KEY) ?? ""; } catch { /* not kept */ }
      const name = kept("fitsvc.by");
      if (typeof name === "string" && !send.elements.by.value) send.elements.by.value = name;
      if (!send.dataset.ready) {
        send.dataset.ready = "yes";
        send.addEventListener("submit", (event) => {
          event.preventDefault();
          const body = new URLSearchParams(new FormData(send)), all = kept(UNSENT);
          try { sessionStorage.setItem(KEY, body.get("key")); } catch { /* not kept */ }
          keep("fitsvc.by", body.get("by"));
          body.delete("key");
          all[main.querySelector("[data-visit]").dataset.visit] = String(body);
          keep(UNSENT, all);
          flush();
        });
      }
      remember(state(send));
    }
    const begun = main.querySelector("[data-visits]");
    if (begun) {
      const lines = Object.values(kept(VISITS)).map(({ query, label }) => {
        const line = document.createElement("li"), link = document.createElement("a");
        link.href = `/measure?${query}`;
        link.textContent = label;
        line.append(link);
        return line;
      });
      begun.querySelector("ul").replaceChildren(...lines);
      begun.hidden = lines.length === 0;
    }
    const done = main.querySelector("[data-sent]");
    if (done) { const visits = kept(VISITS); delete visits[done.dataset.sent]; keep(VISITS, visits); }
  };
  begin();
  flush();
  window.addEventListener("online", () => {
    flush();
    const send = main.querySelector("form[data-send]");
    if (send && Object.keys(kept(UNSENT)).length === 0) {
      const params = state(send);
      fetch(`/measure?${params}`).then((reply) => reply.ok && reply.text()).then((text) => text && show(text, `/measure?${params}`)).catch(() => {});
    }
  });
}
