// Making and changing parts of the page. Text is always text: nothing here reads markup from a value.

/** An element: make("li", {class: "x", "data-id": 3}, "text", otherElement). */
export function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Data that the server put into the page: <script type="application/json" id="…">. */
export function pageData(id) {
  const holder = document.getElementById(id);
  return holder ? JSON.parse(holder.textContent) : null;
}

/** Fetch a page again and put its fresh parts, by id, in place of the old ones. Says whether it worked. */
export async function refresh(ids, address = location.href) {
  const answer = await fetch(address, { credentials: "same-origin", headers: { Accept: "text/html" } });
  if (!answer.ok || answer.redirected) return false;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const id of ids) {
    const next = fresh.getElementById(id);
    const old = document.getElementById(id);
    if (next && old) old.replaceWith(document.adoptNode(next));
  }
  document.dispatchEvent(new CustomEvent("refreshed", { detail: ids }));
  return true;
}

/** Wait until nobody has called for `ms`, then run once with the latest. */
export function settled(run, ms = 180) {
  let timer;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => run(...given), ms);
  };
}
