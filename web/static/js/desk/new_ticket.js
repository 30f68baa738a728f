// A new ticket by the keyboard alone: customer found or added, car picked or added, then the job.
import { call, url } from "../api.js";
import { make, pageData, refresh } from "../dom.js";
import { finder } from "../find.js";
import { hourList, workList } from "./work_and_hour.js";

const byId = (id) => document.getElementById(id);
const ticket = byId("ticket-new");
const work = workList();
let drive = "";
const title = (car) => [car.model_year, car.make, car.model].filter(Boolean).join(" ");

function carWords(car) {
  return [title(car), car.plate, car.engine].filter(Boolean).join(", ");
}

function pickVehicle(car) {
  ticket.elements.vehicle_id.value = car.id;
  drive = car.drive;
  refresh(["returning-car"], url(`/tickets/new?vehicle_id=${car.id}`));
  byId("vin-warning").hidden = !car.vin_warning;
  byId("vin-warning").textContent = car.vin_warning ? `VIN ${car.vin}: ${car.vin_warning} It is kept as typed.` : "";
}

function drawVehicles(cars, chosen) {
  const rows = cars.map((car) => {
    const radio = make("input", { type: "radio", name: "vehicle-choice", value: car.id, checked: car.id === chosen });
    radio.addEventListener("change", () => pickVehicle(car));
    radio.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      radio.checked = true;
      pickVehicle(car);
      toTheJob();
    });
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

const toTheJob = () => (byId("work-find") ?? byId("asked")).focus();

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
  byId("returning-car").hidden = true;
  if (chosen) pickVehicle(chosen);
  showNewCar(cars.length === 0);
  if (chosen) toTheJob();
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
  toTheJob();
});

document.addEventListener("click", (event) => {
  const change = event.target.closest("[data-change]")?.dataset.change;
  if (change === "vehicle") showNewCar(false);
  if (change !== "customer") return;
  for (const id of ["customer-new", "customer-picked", "vehicle-section", "returning-car"]) byId(id).hidden = true;
  ticket.elements.customer_id.value = ticket.elements.vehicle_id.value = "";
  byId("find-customer").hidden = false;
  byId("customer-find").focus();
});

hourList(ticket, () => drive);

ticket.addEventListener("submit", (event) => {
  const [customer, vehicle, asked] = ["customer_id", "vehicle_id", "asked"].map((name) => ticket.elements[name]);
  if (!asked.value.trim()) asked.value = work.items.filter((item) => work.chosen().includes(item.id)).map((item) => item.name).join("; ");
  if (customer.value && vehicle.value && asked.value) return;
  event.preventDefault();
  const missing = !customer.value ? "Choose the customer first." : !vehicle.value ? "Choose the car first." : "Say what is asked: from the price list, in words, or both.";
  let said = ticket.querySelector(".form-problem");
  if (!said) ticket.prepend((said = make("div", { class: "form-problem bad", role: "alert" })));
  said.textContent = missing;
  (!customer.value ? byId("customer-find") : !vehicle.value ? byId("vehicle-choices").querySelector("input, button") : asked)?.focus();
}, true);

// what another page asked for, or what was typed here before one went away
document.addEventListener("draft", async ({ detail: draft }) => {
  if (draft.customer) await pickCustomer(draft.customer, draft.vehicleId);
  else if (draft.newCustomer) newCustomer("");
  if (draft.newCar) showNewCar(true);
  for (const id of draft.items) work.choose(work.items.find((item) => item.id === id));
  document.dispatchEvent(new Event("draft-fields"));
});
const customerId = ticket.elements.customer_id.value;
if (customerId) {
  const more = byId("customer-picked");
  pickCustomer(
    { id: customerId, full_name: more.querySelector("[data-name]").textContent, phone: more.querySelector("[data-more]").textContent },
    pageData("picked-vehicle")?.id,
  );
}
