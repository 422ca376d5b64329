// The Measure page: asks the server about a row as soon as a value is typed, lights its station in the drawing, and
// keeps the keyboard going: Enter moves on to the next field, from the last one to Save.
const form = document.querySelector("form.measure");
const changed = new Set(); // rows typed in since the last question to the server
let asked = []; // rows the question under way is about

const lit = (row, on) => {
  const figure = row.closest(".limb-block")?.querySelector(".limb-figure");
  figure?.querySelectorAll("[data-station]").forEach((mark) => {
    mark.classList.toggle("lit", on && mark.dataset.station === row.dataset.station);
  });
};

form.addEventListener("focusin", (event) => {
  const row = event.target.closest(".place");
  if (row) lit(row, true);
});

form.addEventListener("focusout", (event) => {
  const row = event.target.closest(".place");
  if (row) lit(row, false);
});

// Enter

const wantsThird = (row) => "wantsThird" in row.querySelector(".place-notes").dataset;

const stops = () =>
  [...form.querySelectorAll("input, select, textarea, #save")].filter(
    (field) => field.type !== "hidden" && field.checkVisibility() && !field.closest(".asked") && !skipped(field),
  );

const skipped = (field) => "third" in field.dataset && !field.value && !wantsThird(field.closest(".place"));

const after = (field) =>
  stops().find((other) => field.compareDocumentPosition(other) & Node.DOCUMENT_POSITION_FOLLOWING && !sameGroup(field, other));

const sameGroup = (field, other) => field.type === "radio" && field.name === other.name;

form.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !field.matches("input, select")) return;
  event.preventDefault();
  if (field.dataset.enter && field.value) return document.getElementById(field.dataset.enter).click();
  const next = after(field);
  next?.focus();
  if (next?.select) next.select();
});

// Questions to the server

form.addEventListener("change", (event) => {
  const row = event.target.closest("[data-check-row]");
  if (!row) return;
  changed.add(row);
  const values = { check: row.dataset.checkRow };
  htmx.ajax("POST", form.dataset.check, { source: form, target: form, swap: "none", values });
});

form.addEventListener("htmx:configRequest", () => {
  asked = [...changed];
  changed.clear();
});

const markUnreadable = (notes) => {
  notes.closest(".place").querySelectorAll(".place-takes input").forEach((take) => {
    const bad = notes.dataset.bad.split(" ").includes(take.id);
    take.classList.toggle("is-invalid", bad);
    take.setAttribute("aria-invalid", bad);
  });
};

// Go back for a third take, unless somebody typed on already.
const backForThird = (row) => {
  const here = document.activeElement;
  const third = row.querySelector("[data-third]");
  if (third && !third.value && wantsThird(row) && here.matches(".place-takes input") && !here.value) third.focus();
};

form.addEventListener("htmx:afterRequest", () => {
  form.querySelectorAll(".place-notes").forEach(markUnreadable);
  asked.forEach(backForThird);
  const row = document.activeElement.closest(".place");
  if (row) lit(row, true);
});

// Leaving

// Fields that do not stand as they were opened; a page that came back from the server holds what was typed before.
const differs = (field) => {
  if (field.type === "hidden") return false;
  if (field.matches("[type=radio], [type=checkbox]")) return field.checked !== field.defaultChecked;
  if (field.matches("select")) return [...field.options].some((option) => option.selected !== option.defaultSelected);
  return field.value !== field.defaultValue;
};

const typed = () => "typed" in form.dataset || [...form.querySelectorAll("input, select, textarea")].some(differs);

let sent = false;

// "on" lets the browser bring takes back after leaving by mistake; "off" keeps other children's values from being offered.
const keepTakes = (kept) =>
  form.querySelectorAll(".place-takes input").forEach((take) => (take.autocomplete = kept ? "on" : "off"));

form.addEventListener("submit", () => {
  sent = true;
  keepTakes(false); // the server has them now: going back after saving must not offer them a second time
});

window.addEventListener("beforeunload", (event) => {
  if (sent) return;
  keepTakes(true);
  if (typed()) event.preventDefault();
});

// Takes the browser brought back are asked about like typed ones.
window.addEventListener("pageshow", () => {
  sent = false;
  const broughtBack = [...form.querySelectorAll(".place-takes input")].some(differs);
  keepTakes(false);
  if (broughtBack) htmx.ajax("POST", form.dataset.check, { source: form, target: form, swap: "none", values: { check: "" } });
});

// Writing a reason is confirming.
form.addEventListener("input", (event) => {
  if (!event.target.name.endsWith("-because") || !event.target.value) return;
  event.target.closest("fieldset").querySelector("[value=confirmed]").checked = true;
});

document.getElementById("troubles")?.focus();
