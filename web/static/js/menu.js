// The menu of the bar opens and closes by itself, without script; this only closes it again when somebody turns away.
const menus = document.querySelectorAll("details.more");

for (const menu of menus) {
  menu.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
  menu.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !menu.contains(event.relatedTarget)) menu.open = false;
  });
}

document.addEventListener("click", (event) => {
  for (const menu of menus) if (!menu.contains(event.target)) menu.open = false;
});
