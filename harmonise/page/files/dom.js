// Small helpers for elements. Nothing here knows music.

export const by = (id) => document.getElementById(id);

/** Make an element; `text` and `class` are what they say, all else is an attribute. */
export function make(tag, { text, ...attributes } = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(name, "");
    else if (value !== false && value != null) element.setAttribute(name, value);
  }
  if (text != null) element.textContent = text;
  element.append(...children);
  return element;
}

// The one place where text becomes elements; the page's policy names it.
const policy = globalThis.trustedTypes?.createPolicy("harmonise", {
  createHTML: (markup) => markup,
});

/** Read a picture; nothing of it is in the page yet. */
export function parsedSvg(markup) {
  const trusted = policy ? policy.createHTML(markup) : markup;
  return new DOMParser().parseFromString(trusted, "image/svg+xml");
}

/** Fill a select with {value, title} and keep what was chosen if it is still there. */
export function fill(select, choices, chosen = select.value) {
  select.replaceChildren(
    ...choices.map(({ value, title }) => make("option", { value, text: title })),
  );
  if (choices.some(({ value }) => value === chosen)) select.value = chosen;
}

export function show(element, visible) {
  element.hidden = !visible;
}

/** Return a function that waits until it has not been called for some time. */
export function settled(action, wait) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(action, wait, ...given);
  };
}

/** Whether keys typed now go into a field of text. */
export function isTyping(target) {
  return Boolean(
    target?.closest?.("textarea, select, input:not([type=checkbox]):not([type=radio])"),
  );
}

/** Whether there are letters to press: a telephone has none at hand. */
export const hasLetters = () => matchMedia("(any-pointer: fine)").matches;
