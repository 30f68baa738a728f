// Find anything from the board: tickets first, then cars and customers, which lead to a new ticket for them.
import { call, url } from "../api.js";
import { finder } from "../find.js";

const query = (text) => `find=${encodeURIComponent(text)}&limit=6`;

async function search(text) {
  const [tickets, vehicles, customers] = await Promise.all([
    call("GET", `/tickets?${query(text)}`),
    call("GET", `/vehicles?${query(text)}`),
    call("GET", `/customers?${query(text)}`),
  ]);
  return [
    ...tickets.items.map((item) => ({ kind: "ticket", item })),
    ...vehicles.items.map((item) => ({ kind: "vehicle", item })),
    ...customers.items.map((item) => ({ kind: "customer", item })),
  ];
}

const DRAW = {
  ticket: (one) => ({ title: `Ticket ${one.number}: ${one.vehicle_title} ${one.plate}`, more: `${one.customer_name} – ${one.state.replace("_", " ")} – ${one.asked.slice(0, 80)}` }),
  vehicle: (one) => ({ title: `${[one.model_year, one.make, one.model].filter(Boolean).join(" ")} ${one.plate}`, more: `${one.customer_name} – new ticket for this car` }),
  customer: (one) => ({ title: one.full_name, more: `${one.phone || one.email || "customer"} – new ticket` }),
};
const WHERE = {
  ticket: (one) => `/tickets/${one.id}`,
  vehicle: (one) => `/tickets/new?vehicle_id=${one.id}`,
  customer: (one) => `/tickets/new?customer_id=${one.id}`,
};

finder(document.querySelector("[data-find]"), {
  search,
  draw: ({ kind, item }) => DRAW[kind](item),
  pick: ({ kind, item }) => location.assign(url(WHERE[kind](item))),
  nothing: "Nothing found. Every word you type must occur.",
});

// Where the day is wider than the screen, what is over lies to the left of it.
const hours = document.querySelector("#day-plan .scroll");
const next = hours?.querySelector(".free, .booked a:not(.let-go)");
if (next) hours.scrollLeft = next.closest("td").offsetLeft - hours.querySelector("th").offsetWidth;
