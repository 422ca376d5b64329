// Follow the reader's light or dark setting.
const dark = window.matchMedia("(prefers-color-scheme: dark)");
const apply = () => document.documentElement.setAttribute("data-bs-theme", dark.matches ? "dark" : "light");
dark.addEventListener("change", apply);
apply();
