/* Reading at the bench: focus and keys, drafts kept in this browser, one attempt saved once. */
(() => {
  const NU = () => window.dash_clientside.no_update;
  const set = (id, props) => window.dash_clientside.set_props(id, props);
  const shelf = {
    get: (key) => { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } },
    put: (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); return true; } catch { return false; } },
    drop: (key) => { try { localStorage.removeItem(key); } catch { /* a browser that keeps nothing */ } },
  };
  const draftKey = (told) => `dwellbook:draft:${told.study}:${told.code}`;
  const tokenKey = (told) => `dwellbook:attempt:${told.study}:${told.code}`;
  const filled = (value) => Array.isArray(value) ? value.length > 0 : Boolean(value && String(value).trim());
  const asText = (value) => Array.isArray(value) ? value.join("; ") : (value || "");
  const packed = (values, ids) => Object.fromEntries(ids.map((id, at) => [id.column, asText(values[at])]));
  /* A button that waits until the page listens. */
  const ready = (id) => setTimeout(() => { if (document.getElementById(id)) set(id, { disabled: false }); }, 0);
  const clock = () => new Date().toTimeString().slice(0, 5);
  let pending = false, timer = 0, asked = 0;

  /* The same text is the same attempt, also after the connection was lost; other text is another. */
  const attempt = (key, text) => {
    const before = shelf.get(key);
    if (before && before.text === text) return before.token;
    const token = crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random()}`;
    shelf.put(key, { text, token });
    return token;
  };
  const answered = (trigger) => {
    if (!trigger.prop_id.startsWith("{")) return {};
    const [question, answer] = JSON.parse(trigger.prop_id.slice(0, trigger.prop_id.lastIndexOf("."))).question.split("=");
    return { [question]: answer };
  };
  const clicked = () => window.dash_clientside.callback_context.triggered.find((one) => one.value);

  const fields = () => [...document.querySelectorAll(".reading-form input:not([type=hidden]), .reading-form #save, .reading-form #show-effect")]
    .filter((one) => one.offsetParent !== null && !one.disabled && !one.closest("details:not([open])"));
  const focusCode = () => {
    const code = document.getElementById("find-code");
    if (code && document.activeElement !== code) { code.focus(); code.select(); } // a scan may be under way in it
  };
  const idle = (told) => {
    const here = document.activeElement;
    return !here || here === document.body || (here.id === "find-code" && here.value.toUpperCase() === told.code);
  };
  /* Of an open list: what was typed out, else the first that fits; untouched, what the arrows chose. */
  const chosen = (input) => {
    const list = document.getElementById(input.getAttribute("aria-controls"));
    const options = [...(list?.querySelectorAll("[role=option]") || [])];
    if (!input.dataset.typed) return options.find((one) => one.hasAttribute("data-combobox-selected"));
    return options.find((one) => one.textContent.trim().toLowerCase() === input.value.trim().toLowerCase()) || options[0];
  };
  document.addEventListener("input", (event) => { if (event.target.matches?.("[aria-haspopup]")) event.target.dataset.typed = "1"; }, true);
  const folds = () => document.querySelectorAll("details.fold").forEach((fold) => {
    const open = shelf.get(`dwellbook:fold:${fold.id}`);
    if (open !== null) fold.open = open;
  });

  document.addEventListener("focusin", (event) => {
    delete event.target.dataset.typed;
    // The next scan replaces the code, and typing replaces the unit of the coupon before.
    if (event.target.matches("#find-code, .reading-form input[aria-haspopup]")) event.target.select();
  });
  document.addEventListener("toggle", (event) => {
    if (event.target.matches?.("details.fold")) shelf.put(`dwellbook:fold:${event.target.id}`, event.target.open);
  }, true);
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    if (event.ctrlKey || event.metaKey) {
      const save = document.querySelector("#save, #pull-save, #scan-save");
      // A moment later, so that the last key typed has arrived.
      if (save) { event.preventDefault(); setTimeout(() => save.click(), 50); }
      return;
    }
    const here = event.target;
    if (here.id === "find-code") {
      // A scanner types faster than the page learns of it: the code is taken from the field itself.
      event.preventDefault();
      const code = here.value.replace(/\s/g, "");
      if (code) set("go", { href: `/read?code=${encodeURIComponent(code)}` });
      return;
    }
    if (!here.matches?.(".reading-form input")) return;
    event.preventDefault();
    const next = () => {
      const all = fields(), field = all[all.indexOf(here) + 1];
      field?.focus();
      field?.select?.(); // as the Tab key does: what is typed next replaces what stands there
    };
    if (!here.matches("[aria-haspopup]")) { next(); return; }
    event.stopPropagation();
    chosen(here)?.click();
    queueMicrotask(next); // once the list has closed, and before the next key of a fast typist
  }, true);
  /* The answer about commas: written into the fields where the text is still the one that was asked about. */
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-commas][data-in=field]");
    if (!button) return;
    let first = null;
    for (const [, column, typed, written] of JSON.parse(button.dataset.commas)) {
      const field = document.getElementById(JSON.stringify({ column, kind: "reading" }));
      if (field?.value?.trim() !== typed) continue;
      set({ column, kind: "reading" }, { value: written });
      first = first || field;
    }
    first?.focus();
  });
  document.addEventListener("dwellbook:lost", () => {
    if (!pending) return;
    const words = "NOT saved: the connection was lost. What you typed is kept in this browser; save again, it will be saved once.";
    for (const id of ["keeping", "pull-keeping"]) if (document.getElementById(id)) set(id, { children: words });
  });
  document.addEventListener("dwellbook:back", () => { pending = false; });

  const bench = {
    opened: (told, ids) => {
      const still = ids.map(NU);
      if (!told) return [still, ""];
      ready("save");
      folds();
      if (told.saved || !told.code) {
        if (told.code) { shelf.drop(draftKey(told)); shelf.drop(tokenKey(told)); }
        if (told.next) set("find-code", { value: told.next, description: "Enter opens the next of this pull; or scan another." });
        setTimeout(focusCode, 60);
        return [still, ""];
      }
      const kept = shelf.get(draftKey(told));
      const back = ids.map((id) => kept && filled(kept.values[id.column]) ? kept.values[id.column] : NU());
      setTimeout(() => {
        if (kept) document.querySelectorAll("details.fold").forEach((fold) => {
          if ([...fold.querySelectorAll("input")].some((one) => one.type === "checkbox" ? one.checked : one.value)) fold.open = true;
        });
        if (idle(told)) fields()[0]?.focus();
      }, 60);
      const some = back.some((value) => value !== NU());
      return [back, some ? `What was typed here at ${kept.at} and not saved is back. It is not saved yet.` : ""];
    },
    typing: (values, sat, on, ids, satIds, by, told) => {
      const typed = packed(values, ids);
      const some = ids.some((id, at) => id.column !== "force_unit" && filled(values[at]));
      clearTimeout(timer);
      const ask = some || sat.some(filled);
      const data = { code: told.code, typed, sitting: packed(sat, satIds), read_on: on || "", read_by: by || "", n: ++asked };
      timer = setTimeout(() => set("try-this", { data: ask ? data : null }), 50);
      if (!some) { shelf.drop(draftKey(told)); return "Nothing typed yet."; }
      const kept = shelf.put(draftKey(told), { at: clock(), values: Object.fromEntries(ids.map((id, at) => [id.column, values[at]])) });
      return kept ? "Typed, not saved yet. Kept in this browser until it is." : "Typed, not saved yet.";
    },
    send: (_, __, values, ids, sat, satIds, on, by, told) => {
      const trigger = clicked();
      if (!trigger || !told) return NU();
      const data = { code: told.code, typed: packed(values, ids), sitting: packed(sat, satIds), read_on: on || "", read_by: by || "" };
      pending = true;
      return { ...data, token: attempt(tokenKey(told), JSON.stringify(data)), answers: answered(trigger), n: ++asked };
    },
    lead: () => {
      // After a refusal to the first field that is marked, else to the question: Tab leads on to its answer.
      setTimeout(() => {
        const marked = document.querySelector(".reading-form [aria-invalid=true]");
        const asked = document.querySelector("#verdict .message[role=alert]");
        if (marked) { marked.closest("details.fold")?.setAttribute("open", ""); marked.focus(); }
        else if (asked?.querySelector("button")) asked.focus();
      }, 60);
      return NU();
    },
    effect: (_, __, value, beside, ids, by, told) => {
      const trigger = clicked();
      const shown = trigger && (trigger.prop_id.startsWith("show-effect") || trigger.prop_id.includes('"correct-answer"'));
      if (!shown || !told) return [null, true]; // what is said anew has another effect: what was shown goes
      const said = {};
      ids.forEach(({ column }, at) => {
        const text = Array.isArray(beside[at]) ? [...beside[at]].sort().join("; ") : (beside[at] || "").trim();
        if (text !== told.beside[column]) said[column] = text;
      });
      const data = { ...told, value: value || "", beside: said, by: by || "" };
      return [{ ...data, as_typed: trigger.prop_id.startsWith("{"), n: ++asked }, true];
    },
    confirm: (clicks, shown, by, why, told) => {
      if (!clicks || !shown) return NU();
      const data = { ...shown, by: by || "", why: why || "", n: 0 };
      pending = true;
      return { ...data, token: attempt(`${tokenKey(told)}:${told.kind}`, JSON.stringify(data)), n: ++asked };
    },
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, { reading: bench });
  window.dwellbench = { shelf, ready, attempt, answered, clicked, filled, set, clock, pend: () => { pending = true; }, count: () => ++asked };
})();
