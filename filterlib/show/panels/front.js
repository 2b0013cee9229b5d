// The panel in the browser: native controls with labels, an image, a table of numbers and a sentence that is read out.

const BUTTONS = [
  ["keep", "Keep as reference"], ["forget", "Forget kept"], ["back", "Back to start"],
  ["save-design", "Save design file"], ["save-figure", "Save figure"],
];
const SNAPS = { E12: "E12 value", E24: "E24 value", part: "nearest part" };
const QUIET = 400; // [ms] without a move after which the sentence is read out

function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "text") made.textContent = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
}

// Only what is new is written: each text written anew is laid out anew.
function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function isDark() {
  const lab = document.body.dataset.jpThemeLight;
  return lab ? lab === "false" : matchMedia("(prefers-color-scheme: dark)").matches;
}

// JupyterLab takes arrow keys and letters for its own commands before a slider sees their default action.
function keepKeys(event) {
  if (!event.ctrlKey && !event.metaKey && !event.altKey && event.key !== "Escape") event.stopPropagation();
}

// One slider: its label is tied to it, and what it stands at is read out with its unit.
function slider(model, control, id) {
  const last = control.texts.length - 1;
  const input = element("input", { type: "range", id, min: 0, max: last, step: 1, "data-name": control.name });
  const output = element("output", { for: id });
  const show = (text) => { if (output.textContent !== text) { output.textContent = text; input.setAttribute("aria-valuetext", text); } };
  input.addEventListener("input", () => {
    const place = Number(input.value);
    const exact = { ...model.get("exact") };
    delete exact[control.name];
    show(control.texts[place]);
    model.set("exact", exact);
    model.set("places", { ...model.get("places"), [control.name]: place });
    model.save_changes();
  });
  const refresh = () => {
    const place = model.get("places")[control.name];
    if (Number(input.value) !== place) input.value = place;
    show(model.get("exact")[control.name] ?? control.texts[place]);
  };
  const row = element("div", { class: "fl-row" }, element("label", { for: id, text: control.label }), input, output);
  return { row, refresh };
}

function choice(model, control, id) {
  const select = element("select", { id, "data-name": control.name });
  const loose = element("option", { value: -1 });
  select.append(...control.options.map((text, at) => element("option", { value: at, text })));
  select.addEventListener("change", () => {
    model.set("places", { ...model.get("places"), [control.name]: Number(select.value) });
    model.save_changes();
  });
  const refresh = () => {
    const place = model.get("places")[control.name];
    if (place < 0) {
      loose.textContent = `changed, from ${model.get("view").from[control.name]}`;
      if (!loose.isConnected) select.prepend(loose);
    } else loose.remove();
    select.value = place;
  };
  const row = element("div", { class: "fl-row fl-choice" }, element("label", { for: id, text: control.label }), select);
  return { row, refresh };
}

function groups(rows) {
  const found = new Map();
  for (const { control, row } of rows) {
    if (!found.has(control.group)) {
      const legend = control.group ? [element("legend", { text: control.group })] : [];
      found.set(control.group, element("fieldset", {}, ...legend));
    }
    found.get(control.group).append(row);
  }
  return [...found.values()];
}

function numbers(table, rows) {
  table.replaceChildren(element("caption", { class: "fl-hidden", text: "The numbers that decide" }));
  const kept = Math.max(0, ...rows.map((row) => row.kept.length));
  const lines = [["", (row) => row.label], ["now", (row) => row.text]];
  for (let at = 0; at < kept; at++) lines.push([`kept ${at + 1}`, (row) => row.kept[at] ?? ""]);
  lines.forEach(([name, text], index) => {
    const line = element("tr", { class: index === 1 ? "fl-now" : "" });
    if (kept) line.append(element(index ? "th" : "td", index ? { scope: "row", text: name } : {}));
    for (const row of rows) {
      const cell = element(index ? "td" : "th", { text: text(row), ...(index ? {} : { scope: "col" }) });
      if (index === 1 && row.verdict) cell.append(element("span", { class: "fl-verdict", "data-verdict": row.verdict, text: ` ${row.symbol} ${row.verdict}` }));
      if (index === 1 && row.note) cell.append(element("span", { class: "fl-note", text: row.note }));
      line.append(cell);
    }
    table.append(line);
  });
}

function render({ model, el }) {
  const own = `fl-${Math.random().toString(36).slice(2)}`;
  const made = model.get("controls").map((control, at) => ({
    control, ...(control.kind === "slider" ? slider : choice)(model, control, `${own}-${at}`),
  }));
  const image = element("img", { class: "fl-picture" });
  const mark = element("p", { class: "fl-old", text: "This picture is old: it shows the last setting that could be computed." });
  const table = element("table", { class: "fl-numbers" });
  const sentence = element("p", { class: "fl-sentence", role: "status", "aria-live": "polite" });
  const error = element("p", { class: "fl-error", role: "alert" });
  const note = element("p", { class: "fl-note", role: "status" });
  const press = (name) => () => model.send({ press: name });
  const buttons = Object.fromEntries(BUTTONS.map(([name, text]) => [name, element("button", { type: "button", text, onclick: press(name) })]));
  const snaps = element("span", { class: "fl-snaps" });
  const bar = element("div", { class: "fl-bar" }, ...Object.values(buttons), snaps);
  const root = element(
    "section", { class: "fl-panel", "aria-label": model.get("title"), onkeydown: keepKeys },
    element("div", { class: "fl-paper" }, image, mark), table, sentence,
    element("div", { class: "fl-controls" }, ...groups(made)), error, bar, note,
  );
  let address = "", waiting = 0, snapped = "";

  function picture() {
    const old = address;
    address = URL.createObjectURL(new Blob([model.get("png")], { type: "image/png" }));
    image.src = address;
    if (old) URL.revokeObjectURL(old);
  }
  function snap({ label, to }) {
    if (snapped === label + to) return;
    snapped = label + to;
    snaps.replaceChildren(...(to.length ? [element("span", { text: `${label} to the:` })] : []),
      ...to.map((one) => element("button", { type: "button", text: SNAPS[one], "aria-label": `${label} to the nearest ${SNAPS[one].replace("nearest ", "")}`, onclick: press(`snap-${one}`) })));
  }
  function view() {
    const seen = model.get("view");
    numbers(table, seen.table);
    image.alt = seen.sentence;
    [image.width, image.height] = seen.size;
    root.classList.toggle("fl-is-old", seen.old);
    root.dataset.places = JSON.stringify(seen.places); // of what is shown, while the sliders may have moved on
    put(error, seen.error);
    put(note, seen.note);
    buttons["save-design"].hidden = !seen.saves;
    buttons.forget.disabled = !seen.kept;
    snap(seen.snap);
    clearTimeout(waiting);
    waiting = setTimeout(() => { put(sentence, seen.sentence); }, sentence.textContent ? QUIET : 0);
  }
  const controls = () => made.forEach(({ refresh }) => refresh());
  const dark = () => {
    root.classList.toggle("fl-dark", isDark());
    if (model.get("dark") !== isDark()) { model.set("dark", isDark()); model.save_changes(); }
  };
  const watcher = new MutationObserver(dark);
  watcher.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light"] });
  model.on("change:png", picture);
  model.on("change:view", () => { view(); controls(); });
  model.on("change:places", controls);
  model.on("change:exact", controls);
  picture(); view(); controls(); dark();
  el.append(root);
  return () => { watcher.disconnect(); URL.revokeObjectURL(address); };
}

export default { render };
