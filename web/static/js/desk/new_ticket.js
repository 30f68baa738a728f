// A new ticket by the keyboard alone: customer found or added, car picked or added, then the job.
import { call } from "../api.js";
import { make, pageData } from "../dom.js";
import { finder } from "../find.js";

const byId = (id) => document.getElementById(id);
const ticket = byId("ticket-new");
const title = (car) => [car.model_year, car.make, car.model].filter(Boolean).join(" ");

function carWords(car) {
  return [title(car), car.plate, car.engine].filter(Boolean).join(", ");
}

function pickVehicle(car) {
  ticket.elements.vehicle_id.value = car.id;
  byId("vin-warning").hidden = !car.vin_warning;
  byId("vin-warning").textContent = car.vin_warning ? `VIN ${car.vin}: ${car.vin_warning} It is kept as typed.` : "";
}

function drawVehicles(cars, chosen) {
  const rows = cars.map((car) => {
    const radio = make("input", { type: "radio", name: "vehicle-choice", value: car.id, checked: car.id === chosen });
    radio.addEventListener("change", () => pickVehicle(car));
    return make("div", {}, make("label", { class: "tick" }, radio, carWords(car)));
  });
  const add = make("button", { type: "button" }, "Add a car");
  add.addEventListener("click", () => showNewCar(true));
  byId("vehicle-choices").replaceChildren(...rows, add);
}

function showNewCar(visible) {
  byId("vehicle-new").hidden = !visible;
  byId("vehicle-choices").hidden = visible;
  if (visible) byId("make").focus();
}

async function pickCustomer(customer, vehicleId) {
  ticket.elements.customer_id.value = customer.id;
  ticket.elements.vehicle_id.value = "";
  byId("vehicle-new").elements.customer_id.value = customer.id;
  byId("find-customer").hidden = true;
  byId("customer-new").hidden = true;
  byId("customer-picked").hidden = false;
  byId("customer-picked").querySelector("[data-name]").textContent = customer.full_name;
  byId("customer-picked").querySelector("[data-more]").textContent = customer.phone || customer.email || "";
  byId("vehicle-section").hidden = false;
  const cars = (await call("GET", `/vehicles?customer_id=${customer.id}`)).items;
  const chosen = cars.find((car) => car.id === vehicleId) ?? (cars.length === 1 ? cars[0] : null);
  drawVehicles(cars, chosen?.id);
  if (chosen) pickVehicle(chosen);
  showNewCar(cars.length === 0);
  if (chosen) byId("asked").focus();
  else if (cars.length) byId("vehicle-choices").querySelector("input").focus();
}

function newCustomer(name) {
  byId("find-customer").hidden = true;
  byId("customer-new").hidden = false;
  byId("full_name").value = name;
  byId("phone").focus();
}

async function search(text) {
  const asked = `find=${encodeURIComponent(text)}&limit=6`;
  const [customers, vehicles] = await Promise.all([call("GET", `/customers?${asked}`), call("GET", `/vehicles?${asked}`)]);
  return [
    ...customers.items.map((item) => ({ kind: "customer", item })),
    ...vehicles.items.map((item) => ({ kind: "vehicle", item })),
    { kind: "add", item: text },
  ];
}

finder(byId("customer-find"), {
  search,
  draw: ({ kind, item }) => {
    if (kind === "customer") return { title: item.full_name, more: item.phone || item.email };
    if (kind === "vehicle") return { title: carWords(item), more: item.customer_name };
    return { title: `Add “${item}” as a new customer` };
  },
  pick: ({ kind, item }) => {
    if (kind === "add") newCustomer(item);
    else if (kind === "customer") pickCustomer(item);
    else pickCustomer({ id: item.customer_id, full_name: item.customer_name }, item.id);
  },
});

byId("customer-new").addEventListener("sent", (event) => pickCustomer(event.detail));
byId("vehicle-new").addEventListener("sent", (event) => {
  const car = event.detail;
  drawVehicles([car], car.id);
  pickVehicle(car);
  showNewCar(false);
  byId("asked").focus();
});

document.addEventListener("click", (event) => {
  const change = event.target.closest("[data-change]")?.dataset.change;
  if (change === "vehicle") showNewCar(false);
  if (change !== "customer") return;
  byId("customer-new").hidden = true;
  byId("customer-picked").hidden = true;
  byId("vehicle-section").hidden = true;
  byId("find-customer").hidden = false;
  byId("customer-find").focus();
});

// the end follows the start by an hour until somebody sets it
const from = byId("booked_from");
const to = byId("booked_to");
let toIsOurs = true;
to.addEventListener("input", () => (toIsOurs = to.value === ""));
from.addEventListener("change", () => {
  if (!toIsOurs) return;
  const end = new Date(from.value + "Z");
  to.value = Number.isNaN(end.getTime()) ? "" : new Date(end.getTime() + 3600000).toISOString().slice(0, 16);
});
// a cell chosen is an hour wanted in it: the next full one is offered
byId("cell_id").addEventListener("change", (event) => {
  if (!event.target.value || from.value || to.value) return;
  const now = Date.parse(from.dataset.clock + "Z");
  const next = Math.ceil(now / 3600000) * 3600000;
  [from.value, to.value] = [next, next + 3600000].map((at) => new Date(at).toISOString().slice(0, 16));
});
from.min = from.dataset.clock.slice(0, 10) + "T00:00";

ticket.addEventListener("submit", (event) => {
  if (ticket.elements.customer_id.value && ticket.elements.vehicle_id.value) return;
  event.preventDefault();
  const missing = ticket.elements.customer_id.value ? "Choose the car first." : "Choose the customer first.";
  let said = ticket.querySelector(".form-problem");
  if (!said) ticket.prepend((said = make("div", { class: "form-problem bad", role: "alert" })));
  said.textContent = missing;
  (ticket.elements.customer_id.value ? byId("vehicle-choices").querySelector("input, button") : byId("customer-find"))?.focus();
}, true);

const customerId = ticket.elements.customer_id.value;
if (customerId) {
  const more = byId("customer-picked");
  pickCustomer(
    { id: customerId, full_name: more.querySelector("[data-name]").textContent, phone: more.querySelector("[data-more]").textContent },
    pageData("picked-vehicle")?.id,
  );
}
