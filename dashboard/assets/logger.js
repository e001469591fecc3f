/* Figures that follow the scheme of the page wherever they stand: a part with data-scheme names the store to tell. */
new MutationObserver(() => {
  for (const part of document.querySelectorAll("[data-scheme]")) {
    window.dash_clientside.set_props(part.dataset.scheme, { data: document.documentElement.dataset.mantineColorScheme || "light" });
  }
}).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });

/* The file input of a logger's or a gauge's form has no name of its own: it is called what its label and help say. */
new MutationObserver(() => {
  const input = document.querySelector(':is(#logger-file, #trace-files) input[type="file"]:not([aria-labelledby])');
  if (!input) return;
  const form = input.closest("#logger-file") ? ["logger-file", "logger-chosen"] : ["trace-files", "trace-chosen"];
  input.setAttribute("aria-labelledby", `${form[0]}-label`);
  input.setAttribute("aria-describedby", `${form[0]}-help ${form[1]}`);
  input.addEventListener("keydown", (press) => {
    if (press.key !== "Enter") return;
    press.preventDefault(); // its own click comes before the browser knows that a person pressed
    setTimeout(() => input.click(), 0);
  });
}).observe(document.documentElement, { childList: true, subtree: true });
