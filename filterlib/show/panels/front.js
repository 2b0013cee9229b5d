// The panel in the browser: native controls with labels, an image, a table of numbers, a circuit and a sentence that is read out.

const BUTTONS = [
  ["undo", "Undo"], ["back", "Back to start"], ["keep", "Keep as reference"], ["forget", "Forget kept"],
  ["save-design", "Save design file"], ["save-figure", "Save figure"],
];
const SNAPS = { E12: "E12 value", E24: "E24 value", part: "nearest part" };
const AGAIN = 150; // [ms] after which a move that is not answered is sent again
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

// Lines end between words, and never within a command's "--out".
function putWords(node, text) {
  if (node.textContent !== text) node.replaceChildren(...text.split(/( )/).map((word) => (word === " " ? word : element("span", { class: "fl-word", text: word }))));
}

// A value of the circuit; one that is longer than its room is pressed together.
const LETTER = 6.5; // [px], as the circuit is laid out
function putValue(node, text) {
  put(node, text);
  if (text.length * LETTER > node.dataset.room) { node.setAttribute("textLength", node.dataset.room); node.setAttribute("lengthAdjust", "spacingAndGlyphs"); } else node.removeAttribute("textLength");
}

function isDark() {
  const lab = document.body.dataset.jpThemeLight;
  return lab ? lab === "false" : matchMedia("(prefers-color-scheme: dark)").matches;
}

// JupyterLab takes arrow keys and letters for its own commands before a slider sees their default action.
function keepKeys(event) {
  if (!event.ctrlKey && !event.metaKey && !event.altKey && event.key !== "Escape") event.stopPropagation();
}

// What was moved stays where the hand is until the kernel has answered it, whatever an earlier answer says of it. One message is on its
// way at a time; one that is not answered soon waits behind a cell, and is sent again by the way beside the cells that is there by then.
function hand(model) {
  const moved = new Map();
  let count = 0, sent = 0, timer = 0;
  const send = () => {
    clearTimeout(timer);
    if (!moved.size) { sent = 0; return; }
    sent = count;
    model.send({ moves: [...moved].map(([name, [place, number]]) => [name, place, number]) });
    timer = setTimeout(send, AGAIN);
  };
  return {
    at: (name) => moved.get(name)?.[0],
    to(name, place) {
      count = Math.max(count, model.get("view").answered) + 1;
      moved.delete(name); // the latest is the last: a slider moved after its part's choice counts
      moved.set(name, [place, count]);
      if (!sent) send();
    },
    answered() {
      const { answered } = model.get("view");
      for (const [name, [, number]] of moved) if (number <= answered) moved.delete(name);
      if (sent && answered >= sent) send();
    },
  };
}

// One slider and a field in which its value can be typed; its value is read out with its unit.
function slider(model, moved, control, id, moving) {
  const last = control.texts.length - 1;
  const input = element("input", { type: "range", id, min: 0, max: last, step: 1, "data-name": control.name });
  const typed = element("input", { type: "text", class: "fl-value", "aria-label": `type ${control.label}`, spellcheck: "false", autocomplete: "off" });
  let shown = "", sent = false; // what is being typed is kept; what was sent comes back as it was read
  const show = (text, force = false) => {
    if (text !== shown) { input.setAttribute("aria-valuetext", text); shown = text; }
    if (typed.value !== text && (force || document.activeElement !== typed)) typed.value = text;
  };
  input.addEventListener("input", () => {
    const place = Number(input.value);
    show(control.texts[place]);
    moving(control.name, control.texts[place]);
    moved.to(control.name, place);
  });
  typed.addEventListener("change", () => { if (typed.value.trim() !== shown) { sent = true; model.send({ typed: control.name, text: typed.value.trim() }); } });
  typed.addEventListener("focus", () => typed.select());
  const text = () => control.texts[moved.at(control.name)] ?? model.get("view").exact[control.name] ?? control.texts[model.get("view").places[control.name]];
  const refresh = (force) => {
    const place = moved.at(control.name) ?? model.get("view").places[control.name];
    if (Number(input.value) !== place) input.value = place;
    show(text(), force && sent);
    if (force) sent = false;
  };
  const row = element("div", { class: "fl-row" }, element("label", { for: id, text: control.label }), input, typed);
  return { row, refresh, text, input };
}

function choice(model, moved, control, id) {
  const select = element("select", { id, "data-name": control.name });
  const loose = element("option", { value: -1 });
  select.append(...control.options.map((text, at) => element("option", { value: at, text })));
  select.addEventListener("change", () => { if (Number(select.value) >= 0) moved.to(control.name, Number(select.value)); });
  const at = () => moved.at(control.name) ?? model.get("view").places[control.name];
  const refresh = () => {
    const place = at();
    if (place < 0) {
      loose.textContent = `changed, from ${model.get("view").from[control.name]}`;
      if (!loose.isConnected) select.prepend(loose);
    } else loose.remove();
    select.value = place;
  };
  const text = () => control.options[at()] ?? "changed";
  const row = element("div", { class: "fl-row fl-choice" }, element("label", { for: id, text: control.label }), select);
  return { row, refresh, text, input: select };
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

// The numbers that decide: as many lines as before, so that nothing below moves.
function numbers(table, rows) {
  const heads = element("tr", {}, ...rows.map((row) => element("th", { scope: "col", text: row.label })));
  const line = element("tr", { class: "fl-now" });
  for (const row of rows) {
    const cell = element("td", { text: row.text });
    if (row.verdict) cell.append(element("span", { class: "fl-verdict", "data-verdict": row.verdict, text: ` ${row.symbol} ${row.verdict}` }));
    if (row.note) cell.append(element("span", { class: "fl-note", title: row.note, text: row.note }));
    line.append(cell);
  }
  table.replaceChildren(element("caption", { class: "fl-hidden", text: "The numbers that decide" }), heads, line);
}

function references(table, rows) {
  const kept = Math.max(0, ...rows.map((row) => row.kept.length));
  table.hidden = !kept;
  if (!kept) return table.replaceChildren();
  const heads = element("tr", {}, element("th", { scope: "col", text: "kept" }), ...rows.map((row) => element("th", { scope: "col", text: row.label })));
  const lines = [...Array(kept).keys()].map((at) => element("tr", {}, element("th", { scope: "row", text: `kept ${at + 1}` }), ...rows.map((row) => element("td", { text: row.kept[at] ?? "" }))));
  table.replaceChildren(element("caption", { class: "fl-hidden", text: "What was kept" }), heads, ...lines);
}

const COVERED = "Picture and numbers come with your guess, or with the first control that moves.";

// A guess is asked once and kept in this browser.
function guessing(model) {
  const { question, options } = model.get("guess");
  const place = `filterlib guess: ${model.get("title")}`;
  const row = element("div", { class: "fl-guess" });
  if (!question) return row;
  const ask = () => row.replaceChildren(element("span", { text: `Your guess: ${question}` }),
    ...options.map((text) => element("button", { type: "button", text, onclick: () => { localStorage.setItem(place, text); told(text); row.dispatchEvent(new Event("guessed")); row.querySelector("button").focus(); } })));
  const told = (text) => {
    row.dataset.guess = text;
    row.replaceChildren(element("span", { text: question }), element("strong", { text: `You guessed: ${text}.` }),
      element("button", { type: "button", text: "guess again", onclick: () => { localStorage.removeItem(place); ask(); row.querySelector("button").focus(); } }));
  };
  const kept = localStorage.getItem(place);
  if (options.includes(kept)) told(kept); else ask();
  return row;
}

// What to try: ticked when the controls arrive there, and only then it says why.
function trying(list, tries) {
  const seen = JSON.stringify(tries);
  if (list.dataset.seen === seen) return;
  list.dataset.seen = seen;
  list.replaceChildren(...tries.map(({ text, done, why }) => element("li", { class: done ? "fl-done" : "" },
    element("span", { class: "fl-tick", text: done ? "☑ " : "☐ ", "aria-hidden": "true" }), element("span", { text }), element("span", { class: "fl-hidden", text: done ? " (done)" : " (not yet)" }),
    ...(why ? [element("p", { class: "fl-why", text: why })] : []))));
}

// The circuit: the values beside its parts, the part that moves, and the way from a part to its slider.
function circuit(model, made) {
  const holder = element("div", { class: "fl-ring" });
  holder.innerHTML = model.get("circuit");
  const parts = [...holder.querySelectorAll(".fl-part")].map((node) => ({ node, names: node.dataset.names.split(" "), value: node.querySelector("[data-value]") }));
  const named = Object.fromEntries(made.map((one) => [one.control.name, one]));
  const go = (names) => {
    const found = names.map((name) => named[name]).filter(Boolean);
    const one = found.find(({ input }) => !input.closest("details:not([open])")) ?? found[0];
    one?.input.closest("details")?.setAttribute("open", "");
    one?.input.focus();
    one?.row.scrollIntoView({ block: "nearest" });
  };
  for (const { node, names } of parts) {
    node.addEventListener("click", () => go(names));
    node.addEventListener("keydown", (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); go(names); } });
  }
  const mark = (name) => parts.forEach(({ node, names }) => node.classList.toggle("fl-moved", names.includes(name)));
  const moving = (name, text) => { mark(name); parts.forEach(({ names, value }) => { if (names[0] === name) putValue(value, text); }); };
  const refresh = (touched) => { mark(touched); parts.forEach(({ names, value }) => { if (named[names[0]]) putValue(value, named[names[0]].text()); }); };
  return { holder, moving, refresh };
}

function render({ model, el }) {
  const own = `fl-${Math.random().toString(36).slice(2)}`;
  let ring = null;
  const moving = (name, text) => ring.moving(name, text), moved = hand(model);
  const made = model.get("controls").map((control, at) => ({
    control, ...(control.kind === "slider" ? slider : choice)(model, moved, control, `${own}-${at}`, moving),
  }));
  ring = circuit(model, made);
  const image = element("img", { class: "fl-picture" });
  const cover = element("p", { class: "fl-cover", text: COVERED });
  const mark = element("p", { class: "fl-old", text: "This picture is old: it shows the last setting that could be computed." });
  const alarm = element("p", { class: "fl-alarm", role: "alert" });
  const table = element("table", { class: "fl-numbers" });
  const kept = element("table", { class: "fl-numbers fl-kept" });
  const sentence = element("p", { class: "fl-sentence", role: "status", "aria-live": "polite" });
  const error = element("p", { class: "fl-error", role: "alert" });
  const note = element("p", { class: "fl-note", role: "status" });
  const tries = element("ol", { class: "fl-tries" });
  const guess = guessing(model);
  guess.addEventListener("guessed", view);
  const covered = () => Boolean(model.get("guess").covers && !guess.dataset.guess && !model.get("view").touched);
  const press = (name) => () => model.send({ press: name });
  const buttons = Object.fromEntries(BUTTONS.map(([name, text]) => [name, element("button", { type: "button", text, onclick: press(name) })]));
  const snaps = element("span", { class: "fl-snaps" });
  const first = made.filter(({ control }) => !control.more), rest = made.filter(({ control }) => control.more);
  const more = element("details", { class: "fl-more" }, element("summary", { text: `more: ${rest.length} other control${rest.length > 1 ? "s" : ""}` }), element("div", { class: "fl-controls" }, ...groups(rest)));
  const controls = element("div", { class: "fl-controls" }, ...groups(first));
  const root = element(
    "section", { class: "fl-panel", "aria-label": model.get("title"), onkeydown: keepKeys }, guess,
    element("div", { class: "fl-paper" }, image, cover, mark, alarm), table,
    model.get("circuit") ? element("div", { class: "fl-main" }, ring.holder, controls) : controls,
    element("div", { class: "fl-bar" }, ...Object.values(buttons)), element("div", { class: "fl-said" }, error, note, snaps),
    sentence, tries, ...(rest.length ? [more] : []), kept,
  );
  let waiting = 0, snapped = "";

  function picture() {
    image.src = model.get("picture");
  }
  function snap({ label, to }) {
    if (snapped === label + to) return;
    snapped = label + to;
    snaps.replaceChildren(...(to.length ? [element("span", { text: `${label} to the:` })] : []),
      ...to.map((one) => element("button", { type: "button", text: SNAPS[one], "aria-label": `${label} to the nearest ${SNAPS[one].replace("nearest ", "")}`, onclick: press(`snap-${one}`) })));
  }
  function view() {
    const seen = model.get("view");
    const hidden = covered(), said = hidden ? "" : seen.sentence;
    numbers(table, hidden ? seen.table.map(({ label }) => ({ label, text: "?" })) : seen.table);
    references(kept, hidden ? [] : seen.table);
    image.alt = said;
    [image.width, image.height] = seen.size;
    root.classList.toggle("fl-is-old", seen.old);
    root.classList.toggle("fl-is-wrong", Boolean(seen.alarm) && !hidden);
    root.classList.toggle("fl-is-covered", hidden);
    root.dataset.places = JSON.stringify(seen.places); // of what is shown, while the sliders may have moved on
    put(error, seen.error);
    put(alarm, hidden ? "" : seen.alarm);
    putWords(note, seen.note);
    buttons["save-design"].hidden = !seen.saves;
    buttons.forget.disabled = !seen.kept;
    buttons.undo.disabled = !seen.undo;
    snap(seen.snap);
    trying(tries, seen.tries);
    for (const { control, row } of made) {
      const off = seen.off.includes(control.name);
      row.classList.toggle("fl-off", off);
      row.title = off ? "without effect at this setting" : "";
      for (const one of row.querySelectorAll("input, select")) one.disabled = off;
    }
    ring.refresh(seen.touched);
    clearTimeout(waiting);
    waiting = setTimeout(() => { put(sentence, said); }, sentence.textContent ? QUIET : 0);
  }
  const refresh = () => made.forEach(({ refresh }) => refresh(!model.get("view").error));
  const dark = () => {
    root.classList.toggle("fl-dark", isDark());
    if (model.get("dark") !== isDark()) { model.set("dark", isDark()); model.save_changes(); }
  };
  const watcher = new MutationObserver(dark);
  watcher.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light"] });
  model.on("change:picture", picture);
  model.on("change:view", () => { moved.answered(); view(); refresh(); });
  picture(); view(); refresh(); dark();
  el.append(root);
  return () => watcher.disconnect();
}

export default { render };
