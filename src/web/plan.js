// Works the plan of a round out as one types, and shows only the fields that it has a use for.
// Without this script the button "Work out" shows the same.
"use strict";
(() => {
  const form = document.querySelector("form[data-plan]");
  if (!form || !window.fetch || !window.AbortController) return;
  const PAUSE = 400;
  const region = document.getElementById("arithmetic");
  const field = (name) => form.elements[name];
  const chosen = (name) => field(name).selectedOptions[0];
  // Fields that the number does not hang on.
  const BESIDE = ["code", "starts_on", "ends_on", "purpose"];
  const places = Array.from(form.querySelectorAll("p.fault[id$='-fault']"));
  const nameOf = (place) => place.id.slice(0, -"-fault".length);
  const touched = new Set(places.filter((place) => !place.hidden).map(nameOf));
  let timer = 0;
  let asked = null;

  const make = (tag, text, options) => {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    Object.entries(options || {}).forEach(([name, value]) => made.setAttribute(name, value));
    return made;
  };

  const table = (label, caption, heads, rows) => {
    const scroll = make("div", "", { class: "scroll", role: "region", "aria-label": label, tabindex: "0" });
    const made = make("table", "", { class: "stack" });
    const head = make("tr");
    heads.forEach(([name, kind]) => head.append(make("th", name, kind ? { scope: "col", class: kind } : { scope: "col" })));
    const body = make("tbody");
    rows.forEach((cells) => {
      const line = make("tr");
      cells.forEach((cell, at) => {
        if (at === 0) return line.append(make("th", cell, { scope: "row" }));
        const [name, kind] = heads[at];
        const made = make("td", "", kind ? { "data-label": name, class: kind } : { "data-label": name });
        if (name === "Formula") made.append(make("code", cell));
        else made.textContent = cell;
        return line.append(made);
      });
      body.append(line);
    });
    const top = make("thead");
    top.append(head);
    made.append(make("caption", caption), top, body);
    scroll.append(made);
    return scroll;
  };

  const show = (sizes) => {
    const sum = make("p");
    sum.append(make("b", sizes.needed), " must answer; ", make("b", sizes.to_visit),
      " are to be visited so that as many may be expected to.",
      sizes.clusters ? ` They are drawn in ${sizes.clusters} sites.` : "");
    const steps = table("Arithmetic", "How the number came about",
      [["What", ""], ["Formula", ""], ["Value", "n"]], sizes.steps);
    const groups = table("Groups", "How many are drawn of each group",
      [["Group", ""], ["Units there are", "n"], ["Sample", "n"], ["Reserve", "n"]], sizes.groups);
    region.replaceChildren(sum, steps, groups);
  };

  const say = (text) => region.replaceChildren(make("p", text, { class: "quiet" }));

  // What is wrong beside each field that one has been at.
  const mark = (faults) => {
    places.forEach((place) => {
      const name = nameOf(place);
      if (BESIDE.includes(name)) return;
      const text = touched.has(name) ? faults[name] || "" : "";
      place.textContent = text;
      place.hidden = !text;
      const input = document.getElementById(name);
      if (text && input) input.setAttribute("aria-invalid", "true");
      else if (input) input.removeAttribute("aria-invalid");
    });
  };

  const work = async () => {
    if (!field("frame_on").value) return say("Choose the day of the frame to see how many are needed.");
    if (asked) asked.abort();
    asked = new AbortController();
    const body = new URLSearchParams(new FormData(form));
    try {
      const answer = await fetch(form.dataset.plan, {
        method: "POST",
        body,
        credentials: "same-origin",
        headers: { Accept: "application/json" },
        signal: asked.signal,
      });
      const told = await answer.json();
      mark(told.faults || {});
      if (told.sizes) return show(told.sizes);
      const first = Object.values(told.faults || {})[0];
      return say(first || told.fault || "It cannot be worked out now.");
    } catch (error) {
      if (error.name !== "AbortError") say("The line is broken; the button below tries again.");
      return undefined;
    }
  };

  // Only what the kind, the unit and the design have a use for.
  const fit = () => {
    const kind = chosen("kind");
    const units = kind.dataset.units.split(" ");
    const unit = field("unit");
    Array.from(unit.options).forEach((option) => {
      const fits = units.includes(option.value);
      option.hidden = !fits;
      option.disabled = !fits;
    });
    if (!units.includes(unit.value)) unit.value = units[0];
    document.getElementById("measured").textContent = `Measured of each unit: ${kind.dataset.value}.`;
    const states = {
      share: kind.value === "usage_survey",
      mean: kind.value !== "usage_survey",
      weighings: unit.value === "char_weighing",
      stratified: field("design").value === "stratified",
      cluster: field("design").value === "cluster",
    };
    form.querySelectorAll("[data-for]").forEach((part) => {
      const wanted = states[part.dataset.for];
      part.hidden = !wanted;
      part.querySelectorAll("input, select, textarea").forEach((input) => { input.disabled = !wanted; });
    });
  };

  const later = (event) => {
    const name = event.target.name.startsWith("by_") ? "strata_by" : event.target.name;
    if (BESIDE.includes(name)) return;
    touched.add(name);
    fit();
    window.clearTimeout(timer);
    timer = window.setTimeout(work, PAUSE);
  };
  form.addEventListener("input", later);
  form.addEventListener("change", later);
  fit();
})();
