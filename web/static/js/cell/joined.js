// A second logger's file beside a pull: sent as it is, with its progress, and the page read anew once it is joined.
import { sendFile } from "../api.js";
import { make } from "../dom.js";

const section = document.getElementById("joined");
let sending = false;

function line(file) {
  const bar = make("progress", { max: 1, value: 0, "aria-label": `Sending ${file.name}` });
  const share = make("span", { class: "number" }, "waits");
  const outcome = make("p", { class: "outcome" });
  section.querySelector("[data-sending]").replaceChildren(make("li", {}, make("strong", {}, file.name), share, bar, outcome));
  return { bar, share, outcome };
}

function words({ status, body }) {
  if (status === 200) return `${body.file_name} is joined to this pull already; nothing was filed twice.`;
  if (body.state === "unreadable") return `${body.file_name} is kept as it came, and not readable yet: ${body.reason}`;
  if (!body.channels.length) return `${body.file_name} is kept and gives nothing yet: ${body.failure ?? ""}`;
  return `${body.file_name} is joined: it lies ${body.offset_s.toFixed(3)} s off this pull’s clock.`;
}

async function send(file) {
  if (sending) return;
  sending = true;
  const shown = line(file);
  const status = section.querySelector("[data-sent-words]");
  try {
    const path = `/pulls/${section.dataset.pull}/joined-files?${new URLSearchParams({ file_name: file.name })}`;
    const answer = await sendFile(path, file, (share) => {
      shown.bar.value = share;
      shown.share.textContent = share < 1 ? `${Math.round(share * 100)} %` : "sent, being read";
    });
    sessionStorage.setItem("pullbook-said", words(answer));
    location.reload();
  } catch (problem) {
    shown.bar.value = 0;
    shown.share.replaceChildren(make("span", { class: "stamp wrong" }, "not joined"));
    shown.outcome.textContent = problem.message;
    status.textContent = `${file.name}: ${problem.message}`;
  }
  sending = false;
}

const zone = section?.querySelector("[data-drop]");
if (zone) {
  const input = document.getElementById("joined-file");
  input.addEventListener("change", () => {
    if (input.files[0]) send(input.files[0]);
    input.value = "";
  });
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => {
      event.preventDefault();
      zone.classList.add("over");
    });
  }
  for (const kind of ["dragleave", "drop"]) zone.addEventListener(kind, () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files[0]) send(event.dataTransfer.files[0]);
  });
  window.addEventListener("beforeunload", (event) => {
    if (sending && !sessionStorage.getItem("pullbook-said")) event.preventDefault();
  });
}
