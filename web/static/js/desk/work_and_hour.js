// The rest of a new ticket: work from the price list, an hour that is free, and the plan of the day beside them.
import { call } from "../api.js";
import { make, pageData } from "../dom.js";
import { finder } from "../find.js";
import { shopZone, wallTime } from "../times.js";
import { planBeside, putTime } from "./day.js";

const byId = (id) => document.getElementById(id);
const MINUTE = 60000;
const plain = (text) => text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
const words = (text) => plain(text).split(/[\s,;:.]+/).filter(Boolean);

/** Work: items of the price list as ticks that can be taken back. Gives {items, chosen, choose}. */
export function workList() {
  const items = pageData("price-items") ?? [];
  const list = byId("work-chosen");
  const chosen = () => (list ? [...list.querySelectorAll("input:checked")].map((one) => one.value) : []);
  function choose(item) {
    if (!item || chosen().includes(item.id)) return;
    const tick = make("input", { type: "checkbox", name: "price_item_ids", "data-as": "list", value: item.id, checked: true });
    const row = make("label", { class: "tick" }, tick, item.name, " ", make("span", { class: "soft nowrap" }, item.price));
    tick.addEventListener("change", () => {
      row.remove();
      list.hidden = !chosen().length;
      byId("work-find").focus();
    });
    list.append(row);
    list.hidden = false;
  }
  if (list) finder(byId("work-find"), {
    all: true,
    wait: 0,
    search: async (text) => items.filter((item) => !chosen().includes(item.id) && words(text).every((word) => plain(`${item.name} ${item.kind}`).includes(word))),
    draw: (item) => ({ title: item.name, more: [item.kind, item.price].filter(Boolean).join(", ") }),
    pick: (item) => {
      choose(item);
      byId("work-find").value = "";
    },
    nothing: "Not on the price list. Write it in words below.",
  });
  return { items, chosen, choose };
}

function named(instant) {
  const told = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: shopZone(), ...options }).format(instant);
  return { day: told({ weekday: "short", day: "numeric", month: "short" }), long: told({ weekday: "long", month: "long" }) };
}

/** Every half hour at which so many minutes are free, from stretches as the API tells them; `today` as 2026-03-10. */
function starts(stretches, minutes, today) {
  const tomorrow = new Date(Date.parse(today + "T00:00Z") + 24 * 60 * MINUTE).toISOString().slice(0, 10);
  const found = [];
  for (const one of stretches) {
    const last = Date.parse(one.ends_at) - minutes * MINUTE;
    for (let at = Date.parse(one.begins_at), wall; at <= last; at += (30 - (Number(wall.slice(14, 16)) % 30)) * MINUTE) {
      wall = wallTime(new Date(at));
      const said = named(new Date(at));
      const near = { [today]: "today", [tomorrow]: "tomorrow" }[wall.slice(0, 10)] ?? "";
      const title = `${said.day}, ${wall.slice(11, 16)} – ${one.cell_name}`;
      found.push({ ...one, at, ends: at + minutes * MINUTE, title, near, words: words(`${title} ${said.long} ${near}`) });
    }
  }
  return found.sort((one, other) => one.at - other.at);
}

/** The hour: found among what is free, or typed, or taken from the plan. `drive()` says what the car needs. */
export function hourList(ticket, drive) {
  const [from, to, cell] = [byId("booked_from"), byId("booked_to"), byId("cell_id")];
  const minutes = () => Number(byId("how-long")?.value ?? 60);
  let endIsOurs = to.value === "" || Boolean(to.dataset.exact);
  to.addEventListener("input", () => (endIsOurs = to.value === ""));
  const follow = () => {
    if (!endIsOurs || !from.value) return;
    if (from.dataset.exact && from.dataset.exactFor === from.value) return putTime(to, new Date(Date.parse(from.dataset.exact) + minutes() * MINUTE));
    const end = new Date(from.value + "Z");
    to.value = Number.isNaN(end.getTime()) ? "" : new Date(end.getTime() + minutes() * MINUTE).toISOString().slice(0, 16);
  };
  from.addEventListener("change", follow);
  byId("how-long")?.addEventListener("change", follow);
  ticket.addEventListener("taken", () => (endIsOurs = true));
  from.min = from.dataset.clock.slice(0, 10) + "T00:00";
  planBeside(ticket, { from, to, cell, length: minutes });
  if (!byId("when-find")) return;

  let free = null;
  finder(byId("when-find"), {
    all: true,
    wait: 0,
    search: async (text) => {
      free ??= (await call("GET", "/free-times?days=21")).items;
      const fits = free.filter((one) => drive() !== "all_wheel" || one.drive === "all_wheel");
      const asked = words(text);
      return starts(fits, minutes(), from.dataset.clock.slice(0, 10)).filter((one) => asked.every((word) => one.words.some((there) => there.startsWith(word)))).slice(0, 12);
    },
    draw: (one) => ({ title: one.title, more: one.near }),
    pick: (one) => {
      cell.value = one.cell_id;
      putTime(from, new Date(one.at));
      putTime(to, new Date(one.ends));
      endIsOurs = true;
      byId("when-find").value = one.title;
      from.dispatchEvent(new Event("change"));
      ticket.querySelector("button.main-button").focus();
    },
    nothing: "Nothing is free like that. Another day or a shorter time may be.",
  });
  ticket.addEventListener("refused", () => (free = null)); // somebody was quicker: ask again
}
