// Sends the chosen file in parts by the tus protocol 1.0.0, and goes on after a break or a
// reload where it stopped. Without this script the form sends the file in one piece.
"use strict";
(() => {
  const form = document.querySelector("form[data-uploads]");
  if (!form || !window.fetch || !window.localStorage) return;
  const PART = 1024 * 1024;
  const TRIES = 8;
  const KEY = "emberbook-upload ";
  const address = form.dataset.uploads;
  const bar = form.querySelector("progress");
  const told = form.querySelector("output");
  const button = form.querySelector("button");
  const tus = (more) => ({ "Tus-Resumable": "1.0.0", ...more });
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const say = (text) => { told.textContent = text; };

  // Names the file and what it is for, so that another choice never goes on with it.
  const nameOf = (file, kind, round) =>
    KEY + JSON.stringify([address, kind, round, file.name, file.size, file.lastModified]);

  const base64 = (text) =>
    btoa(String.fromCharCode(...new TextEncoder().encode(text)));

  const show = (sent, size) => {
    bar.hidden = false;
    bar.max = size;
    bar.value = sent;
    say(`${Math.floor((100 * sent) / size)} % of ${size} bytes are safely there.`);
  };

  // What is wrong, in the server's words; worth another try where it is not the request.
  const refusal = async (answer) => {
    const problem = await answer.json().catch(() => ({}));
    const parts = (problem.errors || []).map((each) => `${each.field} ${each.detail}`);
    const error = new Error([problem.detail || answer.statusText, ...parts].join("; "));
    error.again = answer.status >= 500 || [408, 409, 423, 429].includes(answer.status);
    return error;
  };

  const ask = async (url, options) => {
    let answer;
    try {
      answer = await fetch(url, { credentials: "same-origin", ...options });
    } catch (broken) {
      const error = new Error("The line is broken.");
      error.again = true;
      throw error;
    }
    return answer;
  };

  // The address of the upload and the place to go on from: of an earlier one that is known.
  const begin = async (file, kind, round) => {
    const name = nameOf(file, kind, round);
    const known = localStorage.getItem(name);
    if (known) {
      const answer = await ask(known, { method: "HEAD", headers: tus() });
      if (answer.ok) return [known, Number(answer.headers.get("Upload-Offset"))];
      if (answer.status !== 404) throw await refusal(answer);
      localStorage.removeItem(name);
    }
    const metadata = [["kind", kind], ["round", round], ["file_name", file.name]]
      .filter((pair) => pair[1])
      .map(([key, value]) => `${key} ${base64(value)}`);
    const headers = tus({
      "Upload-Length": String(file.size),
      "Upload-Metadata": metadata.join(","),
    });
    const answer = await ask(address, { method: "POST", headers });
    if (answer.status !== 201) throw await refusal(answer);
    const location = answer.headers.get("Location");
    localStorage.setItem(name, location);
    return [location, 0];
  };

  const send = async (file, kind, round) => {
    let tries = 0;
    for (;;) {
      try {
        let [location, offset] = await begin(file, kind, round);
        show(offset, file.size);
        while (offset < file.size) {
          const answer = await ask(location, {
            method: "PATCH",
            headers: tus({
              "Upload-Offset": String(offset),
              "Content-Type": "application/offset+octet-stream",
            }),
            body: file.slice(offset, offset + PART),
          });
          if (answer.status !== 204) throw await refusal(answer);
          offset = Number(answer.headers.get("Upload-Offset"));
          tries = 0;
          show(offset, file.size);
        }
        localStorage.removeItem(nameOf(file, kind, round));
        return location.split("/").pop();
      } catch (error) {
        tries += 1;
        if (!error.again || tries >= TRIES) throw error;
        say(`${error.message} Trying again.`);
        await wait(Math.min(30000, 500 * 2 ** tries));
      }
    }
  };

  form.addEventListener("submit", async (event) => {
    const file = form.elements.file.files[0];
    if (!file || file.size === 0) return;
    event.preventDefault();
    button.disabled = true;
    try {
      const job = await send(file, form.elements.kind.value, form.elements.round.value);
      window.location.assign(`/jobs/${job}`);
    } catch (error) {
      say(`${error.message} Choose the same file again to go on.`);
      button.disabled = false;
    }
  });

  // After a reload the browser has forgotten the file, and we have not.
  const left = Object.keys(localStorage)
    .filter((name) => name.startsWith(KEY))
    .map((name) => JSON.parse(name.slice(KEY.length)))
    .filter((parts) => parts[0] === address);
  if (left.length > 0) {
    const [, kind, round, name] = left[left.length - 1];
    form.elements.kind.value = kind;
    form.elements.round.value = round;
    say(`The upload of ${name} was broken off. Choose the same file to go on with it.`);
  }
})();
