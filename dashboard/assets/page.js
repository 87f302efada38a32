/* The sheet's manners: day or night, links without a reload, where we are, and what has focus. */
(function () {
  "use strict";
  const root = document.documentElement;

  function kept(name) {
    try { return localStorage.getItem(name); } catch (_) { return null; }
  }
  function keep(name, value) {
    try { localStorage.setItem(name, value); } catch (_) { /* private windows may refuse; the page still works */ }
  }

  const theme = kept("paneltide-theme");
  if (theme) root.dataset.theme = theme;

  function isNight() {
    if (root.dataset.theme) return root.dataset.theme === "night";
    return window.matchMedia("(prefers-color-scheme: dark)").matches;
  }

  function nameTheme() {
    for (const button of document.querySelectorAll(".theme-switch")) {
      const words = isNight() ? "Day" : "Night";
      if (button.textContent !== words) button.textContent = words;
      const label = isNight() ? "Switch to day colours" : "Switch to night colours";
      if (button.getAttribute("aria-label") !== label) button.setAttribute("aria-label", label);
    }
  }

  /* Browsers lend their clipboard only to pages that came encrypted or from this machine. */
  function copied(text) {
    if (navigator.clipboard) return navigator.clipboard.writeText(text);
    const field = document.createElement("textarea");
    field.value = text;
    document.body.append(field);
    field.select();
    const done = document.execCommand("copy");
    field.remove();
    return done ? Promise.resolve() : Promise.reject(new Error("refused"));
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest(".theme-switch");
    if (button) {
      root.dataset.theme = isNight() ? "day" : "night";
      keep("paneltide-theme", root.dataset.theme);
      nameTheme();
      return;
    }
    const copy = event.target.closest("[data-copy]");
    if (copy) {
      copied(copy.dataset.copy).then(
        () => { copy.textContent = "Copied"; },
        () => { copy.textContent = "Not copied: select the link and copy it"; },
      );
      return;
    }
    const link = event.target.closest("a");
    if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    const href = link.getAttribute("href") || "";
    if (!href.startsWith("/") || href.startsWith("//") || link.hasAttribute("download") || link.target) return;
    if (link.dataset.reload !== undefined || document.querySelector(".first-sight")) return;
    event.preventDefault();
    if (href !== location.pathname + location.search) {
      const samePlace = new URL(href, location.href).pathname === location.pathname;
      history.pushState({}, "", href);
      window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
      if (!samePlace) window.scrollTo(0, 0);
    }
  });

  /* What a reader opened or folded stays so when the page is drawn anew under them. */
  const folds = new Map();
  function fold(details) {
    return location.pathname + " " + (details.dataset.fold || details.querySelector("summary").textContent);
  }
  document.addEventListener("click", (event) => {
    const details = event.target.closest("summary")?.parentElement;
    if (details) setTimeout(() => folds.set(fold(details), details.open));
  });
  function unfold(page) {
    for (const details of page.querySelectorAll("details")) {
      const open = folds.get(fold(details));
      if (open !== undefined && details.open !== open) details.open = open;
    }
  }

  let shownPath = null;
  function arrived() {
    const first = document.querySelector(".first-sight");
    const live = document.querySelector("#page .sheet");
    if (first && live) {
      const y = window.scrollY;
      first.remove();
      window.scrollTo(0, y);
    }
    nameTheme();
    for (const link of document.querySelectorAll(".nav a")) {
      const here = (link.dataset.covers || "").split(" ").includes(location.pathname.split("/")[1]);
      if (here) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
    }
    if (!live) return;
    unfold(live);
    const heading = live.querySelector("h1");
    if (!heading) return;
    const title = heading.textContent + " · paneltide";
    if (document.title !== title) document.title = title;
    const path = live.closest("[data-path]").dataset.path;
    if (shownPath !== null && shownPath !== path) {
      heading.setAttribute("tabindex", "-1");
      heading.focus({ preventScroll: true });
    }
    shownPath = path;
  }

  /* A session that ended while the page stood open leads to the door, and back here from it. */
  const ask = window.fetch;
  window.fetch = async function (...given) {
    const path = new URL(given[0].url || given[0], location.href).pathname;
    const answer = await (begun.get(path) || ask.apply(this, given));
    begun.delete(path);
    if (answer.status === 401) {
      location.assign("/enter?next=" + encodeURIComponent(location.pathname));
    }
    return answer;
  };

  /* Plotly, for the first chart that asks and for all after it. */
  const plotlyAt = document.currentScript.dataset.plotly;
  let plotlyComing = null;
  function plotly() {
    plotlyComing = plotlyComing || new Promise((come, failed) => {
      const script = document.createElement("script");
      script.src = plotlyAt;
      script.onload = () => come(window.Plotly);
      script.onerror = () => { plotlyComing = null; failed(new Error("Plotly did not come")); };
      document.head.append(script);
    });
    return plotlyComing;
  }
  window.paneltide = { plotly };

  /* What Dash asks for once its scripts have come is asked for with them. */
  const begun = new Map();
  function askEarly() {
    for (const path of ["/_dash-layout", "/_dash-dependencies"]) begun.set(path, ask(path));
  }

  /* Dash's scripts wait until what came with the document is drawn, charts with it: they take longer. */
  async function start() {
    const held = Array.from(document.querySelectorAll("script[data-src]"));
    if (!held.length) return; // a client's page is still: there is nothing to start
    function begin(holder) {
      const script = document.createElement("script");
      script.src = holder.dataset.src;
      script.async = false;
      const come = new Promise((done) => { script.onload = script.onerror = done; });
      holder.replaceWith(script);
      return come;
    }
    if (document.querySelector(".first-sight .plot")) {
      const [own] = held.splice(held.findIndex((holder) => holder.dataset.src.includes("/chart.js")), 1);
      const both = [plotly(), begin(own)];
      askEarly();
      await Promise.all(both).then(() => window.paneltide.drawEarly()).catch(() => null);
    } else {
      askEarly();
    }
    await Promise.all(held.map(begin));
    const holder = document.getElementById("_dash-renderer");
    const script = document.createElement("script");
    script.id = holder.id;
    script.textContent = holder.textContent;
    holder.replaceWith(script);
  }
  document.addEventListener("DOMContentLoaded", () => {
    // Nothing is drawn in a hidden window, and nobody waits for it.
    if (document.hidden) start(); else requestAnimationFrame(() => setTimeout(start));
  });

  let asked = false;
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; arrived(); });
  }).observe(root, { childList: true, subtree: true, characterData: true });
  document.addEventListener("DOMContentLoaded", arrived);
})();
