// The second step is set up: a picture for the telephone, one code to prove it took, then the spare codes, said once.
import { url } from "../api.js";
import { make } from "../dom.js";

document.getElementById("begin")?.addEventListener("sent", async (event) => {
  const { secret, address } = event.detail;
  const drawn = await fetch(url("/qr"), {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    credentials: "same-origin",
    body: JSON.stringify({ text: address }),
  });
  const picture = new DOMParser().parseFromString(await drawn.text(), "image/svg+xml").documentElement;
  document.getElementById("code-picture").replaceChildren(document.adoptNode(picture));
  document.getElementById("secret").textContent = secret.match(/.{1,4}/g).join(" ");
  event.target.hidden = true;
  document.getElementById("setting-up").hidden = false;
  document.getElementById("code").focus();
});

document.getElementById("confirm")?.addEventListener("sent", (event) => {
  document.getElementById("setting-up").hidden = true;
  document.getElementById("spare").replaceChildren(make("div", { class: "good" },
    make("p", {}, make("strong", {}, "The second step is on."), " Keep these spare codes where the telephone is not; each opens the door once. They are not shown again."),
    make("pre", { id: "spare-codes", class: "mono" }, event.detail.spare_codes.join("\n")),
    make("button", { type: "button", "data-copy": "spare-codes" }, "Copy")));
});
