// Sends the chosen or dropped file in parts by the tus protocol 1.0.0, and goes on after a break
// or a reload where it stopped. Without this script the form sends the file in one piece.
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

  // What is chosen beside the file: pairs of a name and a value, in a fixed order.
  const choices = () => {
    const { kind, round, mapping, tried } = form.elements;
    const needsRound = kind.selectedOptions[0].dataset.round !== undefined;
    return [
      ["kind", kind.value],
      ["round", needsRound ? round.value : ""],
      ["mapping", mapping.value.trim()],
      ["dry_run", tried.checked ? "true" : ""],
    ];
  };

  // Names the file and what it is for, so that another choice never goes on with it.
  const nameOf = (file, chosen) =>
    KEY + JSON.stringify([address, chosen, file.name, file.size, file.lastModified]);

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
    const words = parts.length > 0 ? parts.join("; ") : problem.detail || answer.statusText;
    const error = new Error(`${words.charAt(0).toUpperCase()}${words.slice(1)}.`);
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
  const begin = async (file, chosen) => {
    const name = nameOf(file, chosen);
    const known = localStorage.getItem(name);
    if (known) {
      const answer = await ask(known, { method: "HEAD", headers: tus() });
      if (answer.ok) return [known, Number(answer.headers.get("Upload-Offset"))];
      if (answer.status !== 404) throw await refusal(answer);
      localStorage.removeItem(name);
    }
    const metadata = [...chosen, ["file_name", file.name]]
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

  const send = async (file, chosen) => {
    let tries = 0;
    for (;;) {
      try {
        let [location, offset] = await begin(file, chosen);
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
        localStorage.removeItem(nameOf(file, chosen));
        return location.split("/").pop();
      } catch (error) {
        tries += 1;
        if (error.again && tries < TRIES) {
          say(`${error.message} Trying again.`);
          await wait(Math.min(30000, 500 * 2 ** tries));
          continue;
        }
        const begun = localStorage.getItem(nameOf(file, chosen)) !== null;
        if (begun) error.message += " Send the same file again to go on.";
        throw error;
      }
    }
  };

  form.addEventListener("submit", async (event) => {
    const file = form.elements.file.files[0];
    if (!file || file.size === 0) return;
    event.preventDefault();
    const largest = Number(form.dataset.largest);
    if (file.size > largest) {
      say(`The file has ${file.size} bytes and ${largest} are the most that is taken. ` +
        "Send its rows in several files, each with the header.");
      return;
    }
    button.disabled = true;
    try {
      const job = await send(file, choices());
      window.location.assign(`/jobs/${job}`);
    } catch (error) {
      say(error.message);
      button.disabled = false;
    }
  });

  // A dropped file is chosen, no more: kind and round may still have to be.
  const holdsFile = (event) => [...event.dataTransfer.types].includes("Files");
  const over = (event) => {
    if (!holdsFile(event)) return;
    event.preventDefault();
    form.classList.add("over");
  };
  form.addEventListener("dragenter", over);
  form.addEventListener("dragover", over);
  form.addEventListener("dragleave", (event) => {
    if (!form.contains(event.relatedTarget)) form.classList.remove("over");
  });
  form.addEventListener("drop", (event) => {
    form.classList.remove("over");
    if (!holdsFile(event)) return;
    event.preventDefault();
    const files = event.dataTransfer.files;
    if (files.length !== 1) {
      say("Drop one file at a time.");
      return;
    }
    form.elements.file.files = files;
    say(`${files[0].name} is chosen.`);
  });
  form.querySelector(".drop-hint").hidden = false;

  // After a reload the browser has forgotten the file, and we have not.
  const goOn = async () => {
    // Whoever comes with choices made has something else in mind.
    if (window.location.search) return;
    for (const name of Object.keys(localStorage).filter((key) => key.startsWith(KEY)).reverse()) {
      const [owner, chosen, fileName] = JSON.parse(name.slice(KEY.length));
      if (owner !== address) continue;
      const known = await ask(localStorage.getItem(name), { method: "HEAD", headers: tus() });
      if (known.status === 404) localStorage.removeItem(name);
      if (!known.ok) continue;
      const of = Object.fromEntries(chosen);
      form.elements.kind.value = of.kind;
      form.elements.round.value = of.round;
      form.elements.mapping.value = of.mapping;
      form.elements.tried.checked = of.dry_run === "true";
      say(`The upload of ${fileName} was broken off. Choose the same file to go on with it.`);
      return;
    }
  };
  goOn().catch(() => {});
})();
