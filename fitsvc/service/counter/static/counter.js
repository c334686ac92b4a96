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
  const parts = (one) => [...one.querySelectorAll("[data-part]")].map((part) => part.id).join();
  const update = async () => {
    clearTimeout(timer);
    const turn = ++latest;
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

// Audits: files go to the same interface as everyone's, each streamed as it is.
const types = {
  csv: "text/csv", jsonl: "application/x-ndjson", ndjson: "application/x-ndjson", yaml: "application/yaml",
  yml: "application/yaml", parquet: "application/vnd.apache.parquet",
  tsv: "text/tab-separated-values", xlsx: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
  ods: "application/vnd.oasis.opendocument.spreadsheet",
};
const call = async (method, path, key, body) => {
  const headers = { "X-API-Key": key };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  const reply = await fetch(path, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) });
  const document = await reply.json();
  if (!reply.ok) throw new Error(document.detail);
  return document;
};
const send = (path, key, file, bar) => new Promise((done, failed) => {
  const request = new XMLHttpRequest();
  request.open("PUT", path);
  request.setRequestHeader("X-API-Key", key);
  request.setRequestHeader("Content-Type", types[file.name.split(".").pop().toLowerCase()] || "text/csv");
  request.upload.addEventListener("progress", (event) => {
    if (event.lengthComputable && event.total) bar.value = event.loaded / event.total;
  });
  request.addEventListener("load", () => {
    if (request.status < 300) return done();
    let told = {};
    try { told = JSON.parse(request.responseText); } catch { /* not from the service itself */ }
    return failed(new Error(told.detail || document.body.dataset.toldUnsent));
  });
  request.addEventListener("error", () => failed(new Error(document.body.dataset.toldUnreached)));
  request.send(file);
});
const auditing = document.querySelector("form[data-audit]");
if (auditing) {
  auditing.addEventListener("submit", async (event) => {
    event.preventDefault();
    const status = auditing.querySelector("[data-status]");
    const bar = auditing.querySelector("[data-sent]");
    const button = auditing.querySelector("button");
    const key = document.getElementById("audit-key").value;
    button.disabled = true;
    status.classList.remove("error");
    try {
      const made = await call("POST", "/v1/audits", key, { name: auditing.elements.name.value });
      bar.hidden = false;
      for (const field of auditing.querySelectorAll("input[type=file]")) {
        if (!field.files.length) continue;
        bar.value = 0;
        status.textContent = `Sending ${field.files[0].name}`;
        await send(`/v1/audits/${made.id}/files/${field.name}`, key, field.files[0], bar);
      }
      await call("POST", `/v1/audits/${made.id}/start`, key);
      location.assign(`/audits/${made.id}`);
    } catch (error) {
      status.textContent = error.message;
      status.classList.add("error");
      bar.hidden = true;
      button.disabled = false;
    }
  });
}
const action = document.querySelector("form[data-audit-action]");
if (action) {
  action.addEventListener("submit", async (event) => {
    event.preventDefault();
    const word = action.querySelector("button").value;
    try {
      await call("POST", `/v1/audits/${action.dataset.auditAction}/${word}`, document.getElementById("action-key").value);
      location.reload();
    } catch (error) {
      action.querySelector("[data-status]").textContent = error.message;
    }
  });
}
const following = document.querySelector("[data-following]");
if (following) {
  const bar = following.querySelector("progress");
  const status = following.querySelector("[data-status]");
  const left = (seconds) => seconds == null ? "" : seconds < 60 ? `, ${seconds} s left` : `, ${Math.ceil(seconds / 60)} min left`;
  const look = async () => {
    try {
      const reply = await fetch(`/v1/audits/${following.dataset.following}`, { cache: "no-store" });
      const told = await reply.json();
      if (reply.ok && !["queued", "running"].includes(told.state)) return location.reload();
      const progress = told.progress;
      if (progress) {
        const total = progress.total ? ` of ${progress.total.toLocaleString("en-US")}` : "";
        status.textContent = `${progress.stage}: ${progress.done.toLocaleString("en-US")}${total}${left(progress.seconds_left)}`;
        if (progress.total) {
          bar.max = progress.total;
          bar.value = progress.done;
        }
      }
    } catch {
      // It is looked at again in a moment.
    }
    return setTimeout(look, 700);
  };
  look();
}
