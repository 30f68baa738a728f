// A device is added: its token and what to type on it are said once, since the token cannot be looked up later.
import { make, refresh } from "../dom.js";

const form = document.getElementById("new-device");
const added = document.getElementById("added");

form?.addEventListener("sent", async (event) => {
  const { name, token } = event.detail;
  const lines = `python cell_sender.py connect ${added.dataset.address} ${token}\npython cell_sender.py watch FOLDER`;
  added.replaceChildren(make("div", { class: "good" },
    make("p", {}, make("strong", {}, `${name} may send.`), " Do this on it now; the token is not shown again."),
    make("ol", {},
      make("li", {}, make("a", { href: added.dataset.program }, "Save cell_sender.py"), " there. It needs Python 3.9 or newer and nothing else."),
      make("li", {}, "Type these, with the folder that the pulls are written to:")),
    make("pre", { id: "to-type", class: "mono" }, lines),
    make("button", { type: "button", "data-copy": "to-type" }, "Copy")));
  form.reset();
  added.scrollIntoView({ block: "center" });
  await refresh(["devices"]);
});
