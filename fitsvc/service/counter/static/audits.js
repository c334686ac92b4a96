"use strict";
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
const send = (path, key, file, bar, words) => new Promise((done, failed) => {
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
    return failed(new Error(told.detail || words.toldUnsent));
  });
  request.addEventListener("error", () => failed(new Error(words.toldUnreached)));
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
        status.textContent = `${auditing.dataset.toldSending} ${field.files[0].name}`;
        await send(`/v1/audits/${made.id}/files/${field.name}`, key, field.files[0], bar, auditing.dataset);
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
  const words = following.dataset, stages = JSON.parse(words.stages), count = (number) => number.toLocaleString(document.documentElement.lang);
  const left = (seconds) => seconds == null ? "" : seconds < 60 ? `, ${seconds} ${words.toldSeconds}` : `, ${Math.ceil(seconds / 60)} ${words.toldMinutes}`;
  const look = async () => {
    try {
      const reply = await fetch(`/v1/audits/${following.dataset.following}`, { cache: "no-store" });
      const told = await reply.json();
      if (reply.ok && !["queued", "running"].includes(told.state)) return location.reload();
      const progress = told.progress;
      if (progress) {
        const total = progress.total ? ` ${words.toldOf} ${count(progress.total)}` : "";
        status.textContent = `${stages[progress.stage] ?? progress.stage}: ${count(progress.done)}${total}${left(progress.seconds_left)}`;
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
