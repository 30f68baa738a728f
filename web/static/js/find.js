// Find as you type: a text field with a list beneath it, by the keyboard alone if one likes (ARIA combobox).
import { make, settled } from "./dom.js";

/**
 * Make `input` find things. `search(text)` gives items; `draw(item)` gives {title, more}; `pick(item)` takes one.
 * The list says so when there is nothing. `all`: an empty field finds everything, and Enter on it opens the list.
 * Enter that comes before the list does takes the first of it: quick hands need not wait.
 */
export function finder(input, { search, draw, pick, nothing = "Nothing found.", all = false, wait = 180 }) {
  const list = make("ul", { class: "found", role: "listbox", id: `${input.id}-found`, hidden: true, "aria-label": "Found" });
  input.parentElement.append(list);
  for (const [key, value] of Object.entries({
    role: "combobox", "aria-autocomplete": "list", "aria-expanded": "false", "aria-controls": list.id, autocomplete: "off",
  })) input.setAttribute(key, value);
  const count = make("span", { class: "visually-hidden", role: "status" });
  input.parentElement.append(count);
  let items = [];
  let at = -1;
  let asked = 0;
  let pending = false; // typed, and not found yet
  let moves = 0; // arrows that came meanwhile
  let wanted = false; // and Enter

  const forget = () => {
    pending = wanted = false;
    moves = 0;
  };
  const close = () => {
    list.hidden = true;
    at = -1;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  };
  const mark = (next) => {
    at = items.length ? (next + items.length) % items.length : -1;
    [...list.children].forEach((row, number) => row.setAttribute("aria-selected", String(number === at)));
    const row = list.children[at];
    if (row) {
      input.setAttribute("aria-activedescendant", row.id);
      row.scrollIntoView({ block: "nearest" });
    }
  };
  const take = (number) => {
    const item = items[number];
    close();
    if (item) pick(item);
  };
  const show = (found) => {
    items = found;
    const rows = found.map((item, number) => {
      const { title, more } = draw(item);
      const row = make("li", { role: "option", id: `${list.id}-${number}`, "aria-selected": "false" }, title, more ? make("span", { class: "soft" }, more) : null);
      row.addEventListener("mousedown", (event) => event.preventDefault());
      row.addEventListener("click", () => take(number));
      return row;
    });
    if (!rows.length) rows.push(make("li", { role: "option", "aria-disabled": "true", class: "soft" }, nothing));
    list.replaceChildren(...rows);
    list.hidden = false;
    input.setAttribute("aria-expanded", "true");
    count.textContent = found.length ? `${found.length} found` : nothing;
    mark(moves);
    const taken = wanted;
    forget();
    if (taken) take(at);
  };

  const look = settled(async () => {
    const text = input.value.trim();
    const number = ++asked;
    if (!text && !all) {
      forget();
      return close();
    }
    try {
      const found = await search(text);
      if (number === asked) show(found);
    } catch (problem) {
      if (number === asked) {
        show([]);
        list.firstElementChild.textContent = problem.message;
      }
    }
  }, wait);
  input.addEventListener("input", () => {
    pending = true;
    look();
  });
  input.addEventListener("blur", () => setTimeout(close, 150));
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown") {
      if (pending) moves += 1;
      else if (list.hidden) look();
      else mark(at + 1);
    } else if (event.key === "ArrowUp") mark(at - 1);
    else if (event.key === "Enter" && pending) wanted = true;
    else if (event.key === "Enter" && !list.hidden) take(at);
    else if (event.key === "Enter" && all) look();
    else if (event.key === "Escape" && !list.hidden) {
      forget();
      close();
    } else return;
    event.preventDefault();
  });
  return { close };
}
