// Checks the proof that the page shows, on the page: hashes with SHA-256, follows every
// path to the root of the checkpoint, and checks its signature where the browser can.
"use strict";
(() => {
  const shown = document.getElementById("proof-document");
  const button = document.getElementById("check");
  const told = document.getElementById("told");
  const pin = document.getElementById("pin");
  if (!shown || !button || !told) return;
  const text = new TextEncoder();
  const from64 = (words) => Uint8Array.from(atob(words), (c) => c.charCodeAt(0));
  const fromHex = (words) => Uint8Array.from(words.match(/../g) || [], (pair) => parseInt(pair, 16));
  const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  const join = (...parts) => Uint8Array.from(parts.flatMap((part) => Array.from(part)));
  const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const leafHash = (words) => sha256(join([0], text.encode(words)));

  const say = (holds, words) => {
    const line = document.createElement("li");
    line.className = holds === null ? "notice" : holds ? "holds" : "fault";
    line.textContent = words;
    told.append(line);
    return holds !== false;
  };

  // RFC 9162, section 2.1.3.2: the root that a leaf and its path lead to, or nothing where
  // the path does not fit the place.
  const climb = async (leaf, index, size, path) => {
    let [place, last, hash] = [BigInt(index), BigInt(size) - 1n, leaf];
    if (place > last) return null;
    for (const sibling of path.map(fromHex)) {
      if (last === 0n) return null;
      if (place % 2n === 1n || place === last) {
        hash = await sha256(join([1], sibling, hash));
        while (place % 2n === 0n && place > 0n) {
          place /= 2n;
          last /= 2n;
        }
      } else {
        hash = await sha256(join([1], hash, sibling));
      }
      place /= 2n;
      last /= 2n;
    }
    return last === 0n ? hex(hash) : null;
  };

  // A signed note: its text, and its lines as name, key id and signature.
  const open = (note) => {
    const gap = note.lastIndexOf("\n\n");
    const lines = note.slice(gap + 2).trimEnd().split("\n").map((line) => {
      const [, name, value] = line.split(" ");
      const bytes = from64(value);
      return { name, id: hex(bytes.slice(0, 4)), signature: bytes.slice(4) };
    });
    return { text: note.slice(0, gap + 1), lines };
  };

  const readKey = async (words) => {
    const [name, id, ...rest] = words.split("+");
    const bytes = from64(rest.join("+"));
    const digest = await sha256(join(text.encode(name + "\n"), bytes));
    if (hex(digest.slice(0, 4)) !== id || bytes[0] !== 1) throw new Error("a key is not well-formed");
    const key = await crypto.subtle.importKey("raw", bytes.slice(1), { name: "Ed25519" }, false, ["verify"]);
    return { words, name, id, key };
  };

  const signedBy = async (note, key) => {
    const { text: words, lines } = open(note);
    const line = lines.find((each) => each.name === key.name && each.id === key.id);
    return !!line && crypto.subtle.verify({ name: "Ed25519" }, key.key, line.signature, text.encode(words));
  };

  // The keys of the log, each handed over to by the one before it.
  const keysOf = async (proof) => {
    const keys = [{ ...(await readKey(proof.first_key)), retired: null }];
    for (const note of proof.key_changes) {
      const [, , size, , old, next] = open(note).text.split("\n");
      const [before, after] = [keys[keys.length - 1], await readKey(next)];
      const fits = old === before.words && (await signedBy(note, before)) && (await signedBy(note, after));
      if (!fits) throw new Error("a change of the log's key does not hold");
      before.retired = BigInt(size);
      keys.push({ ...after, retired: null });
    }
    return keys;
  };

  const checkSignature = async (proof, size) => {
    let keys;
    try {
      keys = await keysOf(proof);
    } catch (error) {
      if (error.name === "NotSupportedError") {
        say(null, "This browser cannot check Ed25519 signatures: check the checkpoint's signature by the commands below.");
        return true;
      }
      return say(false, error.message);
    }
    const pinned = pin && pin.value.trim();
    if (pinned && !keys.some((key) => key.words === pinned)) {
      return say(false, "No key of this proof is the one that you trust.");
    }
    for (const key of keys) {
      const may = key.retired === null || BigInt(size) <= key.retired;
      if (may && (await signedBy(proof.checkpoint, key))) {
        const whose = pinned ? "" : " That key came with the page: compare it with a copy you trust.";
        return say(true, `The checkpoint is signed by ${key.words}.${whose}`);
      }
    }
    return say(false, "The checkpoint is not signed by a key of this log.");
  };

  const checkEntry = async (entry, size, root) => {
    const name = `Entry ${entry.sequence}`;
    let leaf = fromHex(entry.leaf_hash);
    if (entry.leaf !== null) {
      if (hex(await leafHash(entry.leaf)) !== entry.leaf_hash) return say(false, `${name}: its text does not have this leaf hash.`);
      const event = JSON.parse(entry.leaf);
      if (event.sequence !== entry.sequence) return say(false, `${name}: its text is of another entry.`);
      if (entry.content !== null && hex(await sha256(text.encode(entry.content))) !== event.content) {
        return say(false, `${name}: its content does not have the hash that the entry names.`);
      }
    }
    const found = await climb(leaf, entry.sequence, size, entry.path);
    if (found !== root) return say(false, `${name}: its path does not lead to the root of the checkpoint.`);
    return say(true, `${name}: ${entry.leaf === null ? "the hash" : "text and content have their hashes, and the hash"} leads to the root.`);
  };

  const checkRow = async (row, entries) => {
    const found = await climb(await leafHash(row.row), row.index, row.rows, row.path);
    if (found !== row.root) return say(false, `Row ${row.line}: its path does not lead to the root of its batch.`);
    const entry = entries.find((each) => each.sequence === row.sequence);
    if (!entry) return say(false, `Row ${row.line}: the entry of its batch is not here.`);
    if (entry.content === null) return say(null, `Row ${row.line} leads to the root of its batch; the entry that names that root is shown as a hash only.`);
    const record = JSON.parse(entry.content);
    const batch = record.replacement || record;
    const fits = batch.id === row.batch && batch.root === row.root && batch.rows === row.rows;
    return say(fits, fits ? `Row ${row.line} leads to the root that the entry of its batch names.` : `Row ${row.line}: the entry of its batch names another root.`);
  };

  const check = async () => {
    told.replaceChildren();
    const proof = JSON.parse(shown.textContent);
    const [, size, root] = open(proof.checkpoint).text.split("\n");
    let holds = proof.entries.length > 0;
    for (const entry of proof.entries) {
      holds = (await checkEntry(entry, size, hex(from64(root)))) && holds;
    }
    if (proof.row) holds = (await checkRow(proof.row, proof.entries)) && holds;
    holds = (await checkSignature(proof, size)) && holds;
    say(holds, holds ? "All that could be checked here holds." : "This proof does not hold.");
    told.dataset.outcome = holds ? "holds" : "fails";
  };

  button.hidden = false;
  button.addEventListener("click", () => {
    if (!window.crypto || !crypto.subtle) {
      say(null, "This browser lends a page its hash functions over HTTPS only: use the commands below.");
      return;
    }
    check().catch((error) => {
      say(false, `The proof cannot be read: ${error.message}`);
      told.dataset.outcome = "fails";
    });
  });
})();
