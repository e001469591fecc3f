/* Not saved: says so, and keeps saying so, when the server refuses a change or cannot be reached. */
(() => {
  const inner = window.fetch.bind(window);
  const banner = () => {
    let found = document.getElementById("lost");
    if (!found) {
      found = document.createElement("div");
      found.id = "lost";
      found.setAttribute("role", "alert");
      document.body.prepend(found);
    }
    return found;
  };
  const event = (name) => document.dispatchEvent(new CustomEvent(`dwellbook:${name}`));
  const say = (text) => { banner().textContent = text; event("lost"); };
  const clear = () => { document.getElementById("lost")?.remove(); event("back"); };
  window.fetch = async (input, init) => {
    if (!String(input.url || input).includes("/_dash-update-component")) return inner(input, init);
    try {
      const answer = await inner(input, init);
      if (answer.ok) clear();
      else say(answer.status === 413 ? "NOT saved: too large." : `The last step failed (${answer.status}). If you were saving, it was NOT saved.`);
      return answer;
    } catch (fault) {
      say("Dwellbook cannot be reached. Is it still running? If you were saving, it was NOT saved.");
      throw fault;
    }
  };
})();
