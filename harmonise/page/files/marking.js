// Pupils' work marked in the browser: one script or a class, each deduction with its
// reason, which a teacher may see otherwise; slips and table are printed from there.

import { announce } from "./announce.js";
import { question } from "./arranging.js";
import { by, make, show } from "./dom.js";
import { inBase64 } from "./opening.js";
import { makeFile } from "./queue.js";
import { ask } from "./server.js";
import { paperNow, sheetNow } from "./take_away.js";

let scripts = []; // {name, base64}
let changes = []; // {script, line, points, reason}
let marked = null; // as the program told it last
let register = ""; // earlier works, as their file holds them
const OF_TASK = ["mark-task", "mark-version", "mark-drill", "mark-key"];

export function startMarking() {
  by("mark-choose").addEventListener("click", () => by("mark-files").click());
  by("mark-files").addEventListener("change", async () => {
    await take([...by("mark-files").files]);
    by("mark-files").value = "";
  });
  for (const id of [...OF_TASK, "mark-style", "mark-out-of", "mark-hints"])
    by(id).addEventListener("change", () => {
      if (OF_TASK.includes(id)) changes = [];
      showTask();
      if (scripts.length) mark();
    });
  by("register-choose").addEventListener("click", () => by("register-file").click());
  by("register-file").addEventListener("change", () => takeRegister(by("register-file").files[0]));
  by("marked-files").replaceChildren(
    ...[
      ["slips", "Slips to print"],
      ["table", "Table to print"],
      ["csv", "Table for a spreadsheet"],
      ["register", "Register, to go on with"],
    ].map(([kind, title]) => {
      const button = make("button", { type: "button", "data-kind": kind, text: title });
      button.addEventListener("click", () =>
        makeFile("/slips", { marking: markQuestion(), kind, page: paperNow() }, title),
      );
      return button;
    }),
  );
}

/** Show what has to be known of the kind of task. */
function showTask() {
  const task = by("mark-task").value;
  show(by("mark-version").parentElement, task === "sheet");
  for (const id of ["mark-drill", "mark-key"]) show(by(id).parentElement, task === "drill");
}

/** Go on with a register: it is added to, and printed with these works. */
async function takeRegister(file) {
  if (!file) return;
  register = await file.text();
  by("register-file").value = "";
  by("register-told").textContent = `Goes on with ${file.name}.`;
  show(by("register-told"), true);
  if (scripts.length) await mark();
}

/** Take scripts in the place of those that were there. */
export async function take(files) {
  scripts = await Promise.all(
    files.map(async (file) => ({
      name: file.name,
      base64: inBase64(new Uint8Array(await file.arrayBuffer())),
    })),
  );
  changes = [];
  if (scripts.length) await mark();
}

function markQuestion() {
  return {
    ...question(),
    scripts,
    against: by("mark-task").value,
    sheet: sheetNow(Number(by("mark-version").value) || 1),
    drill: by("mark-drill").value,
    drillKey: by("mark-key").value,
    register,
    style: by("mark-style").value,
    hints: by("mark-hints").checked,
    outOf: Number(by("mark-out-of").value) || 0,
    changes,
  };
}

async function mark() {
  tell(`Marking ${scripts.length === 1 ? "one script" : `${scripts.length} scripts`} …`);
  const found = await ask("/mark", markQuestion());
  if (!found) return;
  if (found.error) {
    tell(found.error.sentence);
    return;
  }
  marked = found.answer;
  const failed = marked.works.filter(({ failure }) => failure).length;
  tell(
    `Marked: ${marked.works.length - failed} of ${marked.works.length}, for ${marked.task}.`,
  );
  draw();
}

function tell(sentence) {
  by("mark-told").textContent = sentence;
}

function draw() {
  const open = new Set(
    [...by("slips").querySelectorAll("details[open]")].map(({ dataset }) => dataset.script),
  );
  const held = document.activeElement?.closest?.(".slip-lines li")?.dataset.line;
  by("slips").replaceChildren(...marked.works.map((work, at) => slip(work, at, open)));
  drawTable();
  show(by("marked"), true);
  document.body.dataset.marked = String(marked.works.length);
  if (held) by("slips").querySelector(`[data-line="${held}"] button`)?.focus();
}

function drawTable() {
  const [head = [], ...rows] = marked.table;
  by("class-table").replaceChildren(
    make("caption", { class: "unseen", text: "Marks by pupil and fault" }),
    make("tr", {}, ...head.map((text) => make("th", { scope: "col", text }))),
    ...rows.map(([name, ...cells]) =>
      make(
        "tr",
        {},
        make("th", { scope: "row", text: name }),
        ...cells.map((text) => make("td", { text })),
      ),
    ),
  );
  show(by("class-table").parentElement, rows.length > 0);
}

function slip(work, at, open) {
  const isOpen = marked.works.length === 1 || open.has(String(at));
  const details = make("details", { class: "slip card", "data-script": at, open: isOpen });
  details.append(
    make("summary", { text: `${work.name}: ${work.failure ? "not marked" : work.marks}` }),
  );
  if (work.failure) {
    details.append(make("p", { text: work.failure }));
    return details;
  }
  details.append(
    make("p", { text: work.praise }),
    make("ol", { class: "slip-lines", role: "list" }, ...work.lines.map((line, row) => lineOf(line, at, row))),
    ...[...work.others, ...work.sums, ...work.practise, ...work.notes].map((text) =>
      make("p", { class: "hint", text }),
    ),
  );
  return details;
}

function lineOf(line, script, row) {
  const name = `${script}-${row}`;
  const number = line.number ? `${line.number}. ` : "";
  const points = make("input", {
    type: "number",
    min: "0",
    max: "20",
    step: "0.25",
    value: line.points,
  });
  const reason = make("input", {
    type: "text",
    size: "16",
    maxlength: "200",
    autocomplete: "off",
    value: line.reason,
  });
  const form = make(
    "form",
    {},
    make("label", {}, "Deduct ", points),
    make("label", {}, "because ", reason),
    make("button", { type: "submit", text: "Change it" }),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    overrule(line, { script, line: row, points: points.value, reason: reason.value.trim() }, reason);
  });
  const item = make(
    "li",
    { "data-line": name, "data-changed": Boolean(line.reason) },
    make("p", { text: `${number}${line.text}` }),
    form,
  );
  if (line.reason) form.append(backButton(line, script, row));
  return item;
}

function backButton(line, script, row) {
  const back = make("button", { type: "button", text: `Back to ${line.usual}` });
  back.addEventListener("click", () => {
    changes = changes.filter((one) => one.script !== script || one.line !== row);
    mark();
  });
  return back;
}

function overrule(line, { script, line: row, points, reason }, field) {
  if (!reason) {
    tell("Write a word or two why: the pupil reads it on the slip.");
    announce("Write a word or two why.");
    field.focus();
    return;
  }
  const others = changes.filter((one) => one.script !== script || one.line !== row);
  const quarters = Math.round(Number(points) * 4);
  changes = [...others, { script, line: row, points: `${quarters}/4`, reason }];
  mark();
}
