// Where the page is on the home network, with a code to scan.

import { by, show } from "./dom.js";

const SPACE = "http://www.w3.org/2000/svg";
const MARGIN = 4; // light modules around the code (ISO/IEC 18004)

/** Show the code of a page that is shared; a page that is not has none. */
export function showShare({ share }) {
  show(by("share"), Boolean(share));
  if (!share) return;
  by("share-address").textContent = share.address;
  by("share-address").href = share.address;
  by("share-warning").textContent = share.warning;
  by("share-code").replaceChildren(pictureOf(share.code));
}

/** Dark modules on a light ground, which stays light where the page is dark. */
function pictureOf(rows) {
  const size = rows.length + 2 * MARGIN;
  const picture = part("svg", {
    viewBox: `0 0 ${size} ${size}`,
    role: "img",
    "aria-label": "Code of the page’s address",
    "shape-rendering": "crispEdges",
  });
  const dark = rows.flatMap((row, y) =>
    [...row].flatMap((one, x) => (one === "1" ? `M${x + MARGIN} ${y + MARGIN}h1v1h-1z` : [])),
  );
  picture.append(
    part("rect", { width: size, height: size, fill: "#fff" }),
    part("path", { d: dark.join(""), fill: "#000" }),
  );
  return picture;
}

function part(tag, attributes) {
  const element = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}
