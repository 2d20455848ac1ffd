// Files that are being made: one after the other, each seen until it is there.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { ask } from "./server.js";

const MOST_SHOWN = 8;
let last = Promise.resolve(); // settled when the last file in the queue is made
let number = 0;

/**
 * Make a file and save it when those before it are made.
 *
 * `told` is what the list calls it; `remark` is said beside it when it is there.
 */
export function makeFile(path, body, told, remark = "") {
  const row = make("li", { "data-made": "waiting" });
  const state = make("span", { text: "waits" });
  row.append(make("span", { text: told }), state);
  by("queue").prepend(row);
  while (by("queue").children.length > MOST_SHOWN) by("queue").lastChild.remove();
  show(by("queue"), true);
  const tell = (made, words) => {
    row.dataset.made = made;
    state.textContent = words;
  };
  number += 1;
  const lane = `file ${number}`;
  const work = () => making({ path, body, lane, tell, remark, told });
  document.body.dataset.file = "working";
  announce(`Making ${told}`);
  last = last.then(work, work);
  return last;
}

async function making({ path, body, lane, tell, remark, told }) {
  tell("working", "is being made …");
  const found = await ask(path, body, lane);
  if (!found) {
    tell("fault", "not made: the program has stopped");
    return null;
  }
  if (found.error) {
    tell("fault", found.error.sentence);
    document.body.dataset.file = "fault";
    announce(`${told}: ${found.error.sentence}`);
    return null;
  }
  save(found.answer);
  tell("done", `ready: ${found.answer.name}`);
  by("away-idle").textContent = remark;
  show(by("away-idle"), Boolean(remark));
  announce(`Ready: ${found.answer.name}. ${remark}`.trim());
  return found.answer;
}

/** Give a file to the browser to keep. */
export function save({ blob, name }) {
  const address = URL.createObjectURL(blob);
  const link = make("a", { href: address, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  document.body.dataset.file = name;
}
