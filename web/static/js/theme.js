// Light or dark before the first paint: what the person chose here, else what the device asks for.
(() => {
  const wanted = () => localStorage.getItem("pullbook-sheet");
  const dark = () => document.getElementById("dark-tokens");
  const apply = () => {
    const media = { dark: "screen", light: "not all" }[wanted()];
    dark().media = media ?? "screen and (prefers-color-scheme: dark)";
  };
  try {
    apply();
  } catch {
    return; // storage is closed to us: the device's own wish stands
  }
  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-theme-switch]")) return;
    const isDark = matchMedia(dark().media).matches;
    localStorage.setItem("pullbook-sheet", isDark ? "light" : "dark");
    apply();
    document.dispatchEvent(new Event("sheet-changed"));
  });
})();
