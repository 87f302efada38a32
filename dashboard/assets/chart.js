/* The page's element that shows a chart: a Plotly figure in the page's own ink, for pointer, finger and keys.
   Plotly itself is fetched where the first chart is (`plotly` in page.js). */
(function () {
  "use strict";
  // The day's ink, as figures are sent, and what it is called in paper.css.
  const INKS = {
    "#f7f3ea": "--paper", "#efe9dc": "--sunk", "#22201c": "--ink", "#5d574c": "--soft", "#cfc6b4": "--line",
    "#8f8878": "--steel", "#2f6c8f": "--tide", "#8a5a2b": "--wood",
  };
  const PRINTED = { "--paper": "#ffffff", "--sunk": "#f2f2f2", "--soft": "#333333", "--line": "#999999", "--steel": "#666666" };
  const PRINT_WIDTH = 690, NARROW = 520, PICTURE_WIDTH = 1200;
  const LEAST_MS = 3600e3, FINGERS_APART = 24, TAP = 10;
  const STEPS = { ArrowLeft: -1, ArrowRight: 1, PageUp: -10, PageDown: 10, Home: -Infinity, End: Infinity };
  const CONFIG = {
    displayModeBar: false, displaylogo: false, scrollZoom: false,
    locale: "ours", locales: { ours: { format: { periods: ["am", "pm"] } } },
  };

  function inked(figure, printed) {
    const style = getComputedStyle(document.documentElement);
    const ink = (name) => (printed ? PRINTED[name] || "#000000" : style.getPropertyValue(name).trim());
    const text = JSON.stringify(figure).replace(/#[0-9a-f]{6}/g, (hex) => (INKS[hex] ? ink(INKS[hex]) : hex));
    return JSON.parse(text);
  }

  function fitted(figure, width, touched) {
    const { layout } = figure;
    layout.dragmode = touched ? false : "zoom";
    if (width >= NARROW) return figure;
    layout.xaxis.nticks = 5;
    layout.margin.l = 40;
    for (const words of layout.annotations) if (words.name) words.text = words.name;
    return figure;
  }

  const isTouched = () => window.matchMedia("(pointer: coarse)").matches;
  // Instants of an axis are a place's wall clock; here they are only counted with.
  const count = (text) => Date.parse(text.length > 10 ? text.replace(" ", "T") + "Z" : text);
  const wall = (ms) => new Date(ms).toISOString().slice(0, 16);

  /* A stretch that a chart was narrowed to becomes the page's address: the server draws it finer. */
  function narrowed(href, range) {
    const [from, to] = range.map((end) => count(String(end)));
    const url = new URL(href, location.href);
    for (const old of ["span", "at"]) url.searchParams.delete(old);
    url.searchParams.set("since", wall(from));
    url.searchParams.set("until", wall(Math.max(to, from + LEAST_MS)));
    if (document.querySelector(".first-sight")) return location.assign(url); // nobody listens yet
    history.pushState({}, "", url.pathname + url.search);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
  }

  /* Two fingers: the instants under them stay under them. One finger scrolls the page, or taps to read. */
  function fingered(room, tapped, done) {
    let under = null, tap = null;
    const ground = () => room.querySelector(".nsewdrag").getBoundingClientRect();
    const fingers = (event) => Array.from(event.touches, (touch) => touch.clientX).sort((a, b) => a - b);
    room.addEventListener("touchstart", (event) => {
      const { clientX, clientY } = event.touches[0];
      tap = event.touches.length === 1 ? [clientX, clientY] : null;
      if (event.touches.length !== 2 || !room.layout) return;
      const { left, width } = ground(), [from, to] = room.layout.xaxis.range.map((end) => count(String(end)));
      under = fingers(event).map((x) => from + ((x - left) / width) * (to - from));
    }, { passive: true, capture: true });
    room.addEventListener("touchmove", (event) => {
      if (!under || event.touches.length !== 2) return;
      event.preventDefault();
      event.stopPropagation();
      const { left, width } = ground(), [first, second] = fingers(event);
      const scale = Math.max((under[1] - under[0]) / Math.max(second - first, FINGERS_APART), LEAST_MS / width);
      const from = under[0] - (first - left) * scale;
      window.Plotly.relayout(room, { "xaxis.range": [wall(from), wall(from + width * scale)] });
    }, { passive: false, capture: true });
    room.addEventListener("touchend", (event) => {
      const { clientX, clientY } = event.changedTouches[0];
      if (tap && room.layout && Math.hypot(clientX - tap[0], clientY - tap[1]) < TAP) {
        const { left, width } = ground(), [from, to] = room.layout.xaxis.range.map((end) => count(String(end)));
        event.preventDefault();
        // Plotly shows nothing before it has heard of the finger's end itself.
        setTimeout(() => tapped(from + ((clientX - left) / width) * (to - from)));
      }
      if (!under || event.touches.length) return;
      under = null;
      done(room.layout.xaxis.range);
    }, { passive: false, capture: true });
    return () => under !== null;
  }

  async function fontFaces() {
    const found = [];
    for (const sheet of document.styleSheets) {
      for (const rule of sheet.cssRules) {
        if (!(rule instanceof CSSFontFaceRule) || !rule.cssText.includes("Alegreya")) continue;
        const address = new URL(/url\("?([^")]+)/.exec(rule.cssText)[1], sheet.href);
        const bytes = new Uint8Array(await (await fetch(address)).arrayBuffer());
        const data = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
        found.push(rule.cssText.replace(/src:[^;]+;/, `src: url(data:font/woff2;base64,${data});`));
      }
    }
    return found.join("\n");
  }

  /* A picture on paper whatever the screen's colours: our letters go along, or it would be set in others. */
  async function savedPicture(props, shape) {
    const figure = JSON.parse(JSON.stringify(props.figure));
    const size = { width: PICTURE_WIDTH, height: Math.round(PICTURE_WIDTH * Math.min(shape, 0.75)) + 60 };
    figure.layout.margin.t += 40;
    figure.layout.title = { text: props.name, x: 0.02, xanchor: "left", font: { size: 20 } };
    const svg = await window.Plotly.toImage(figure, { format: "svg", imageDataOnly: true, ...size });
    const whole = svg.replace(">", `><style>${await fontFaces()}</style>`);
    const image = new Image();
    image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(whole);
    await image.decode();
    const canvas = Object.assign(document.createElement("canvas"), { width: 2 * size.width, height: 2 * size.height });
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    const link = document.createElement("a");
    link.href = canvas.toDataURL("image/png");
    link.download = `${props.name}.png`;
    link.click();
  }

  /* A chart and the room it is drawn in: drawn anew as its figure, its room or the colours change. */
  class Chart {
    constructor(props) {
      this.props = props;
      this.tell = () => null;
      this.at = null;
      this.width = 0; // it was drawn for
      this.room = Object.assign(document.createElement("div"), { className: "plot-room", tabIndex: 0 });
      this.room.setAttribute("role", "group");
      this.room.setAttribute("aria-label", `${props.name}: left and right read its values`);
      this.room.addEventListener("keydown", (event) => this.#key(event));
      this.isPinching = fingered(this.room, (ms) => this.#readNearest(ms), (range) => this.#toAddress(range));
      this.#follow();
    }

    async draw(printed = false) {
      const Plotly = window.Plotly || (await window.paneltide.plotly());
      const here = this.room;
      // While the still page stands in its place it has no room, and waits for it.
      if (!here.clientWidth) return;
      this.width = here.clientWidth;
      const size = { width: printed ? PRINT_WIDTH : here.clientWidth, height: here.clientHeight };
      const figure = fitted(inked(this.props.figure, printed), size.width, isTouched());
      const isFirst = !here.on;
      this.at = null;
      const doubleClick = this.props.href ? false : "reset";
      await Plotly.react(here, figure.data, { ...figure.layout, ...size }, { ...CONFIG, doubleClick });
      if (isFirst) this.#listen();
    }

    /* Where its room, the colours or the paper change. */
    #follow() {
      const sized = new ResizeObserver(() => {
        if (this.room.clientWidth !== this.width) this.draw();
      });
      sized.observe(this.room);
      const again = () => this.draw(), print = () => this.draw(true);
      const night = window.matchMedia("(prefers-color-scheme: dark)");
      const theme = new MutationObserver(again);
      theme.observe(document.documentElement, { attributeFilter: ["data-theme"] });
      night.addEventListener("change", again);
      window.addEventListener("beforeprint", print);
      window.addEventListener("afterprint", again);
      this.stop = () => {
        sized.disconnect();
        theme.disconnect();
        night.removeEventListener("change", again);
        window.removeEventListener("beforeprint", print);
        window.removeEventListener("afterprint", again);
        if (window.Plotly) window.Plotly.purge(this.room);
      };
    }

    #listen() {
      this.room.on("plotly_relayout", (change) => {
        const range = [change["xaxis.range[0]"], change["xaxis.range[1]"]];
        if (range[0] && !this.isPinching()) this.#toAddress(range);
      });
      this.room.on("plotly_hover", (event) => {
        const read = event.points.find((point) => point.data.name === "read");
        if (read) this.#say(read.pointNumber);
      });
    }

    #toAddress(range) {
      if (this.props.href) narrowed(this.props.href, range);
    }

    #reader() {
      return this.props.figure.data.at(-1);
    }

    #say(point) {
      this.at = point;
      this.tell(this.#reader().text[point].replace(/<br>/g, ", ").replace(/<[^>]+>/g, ""));
    }

    /* Plotly shows the label; asked by us it tells nobody of it. */
    #read(point) {
      const last = this.props.figure.data.length - 1;
      window.Plotly.Fx.hover(this.room, [{ curveNumber: last, pointNumber: point }]);
      this.#say(point);
    }

    #readNearest(ms) {
      const away = this.#reader().x.map((x) => Math.abs((typeof x === "number" ? x : count(x)) - ms));
      if (away.length) this.#read(away.indexOf(Math.min(...away)));
    }

    #key(event) {
      const step = STEPS[event.key], most = this.#reader().x.length - 1;
      if (!step || !window.Plotly || most < 0) return;
      event.preventDefault();
      this.#read(Math.max(0, Math.min(most, (this.at === null ? most : this.at) + step)));
    }
  }

  /* The charts of the page that came with the document, drawn before Dash stands; its page takes them over. */
  const early = new Map();
  function drawEarly() {
    return Promise.all(Array.from(document.querySelectorAll(".first-sight .plot"), (place) => {
      const props = JSON.parse(place.querySelector("script").textContent), chart = new Chart(props);
      early.set(props.name, chart);
      place.querySelector(".plot-room").replaceWith(chart.room);
      return chart.draw();
    }));
  }

  function Plot(props) {
    const { useLayoutEffect, useRef, useState } = React;
    const holder = useRef(null), chart = useRef(null);
    const [said, setSaid] = useState("");

    useLayoutEffect(() => {
      const mine = early.get(props.name) || new Chart(props);
      early.delete(props.name);
      chart.current = mine;
      mine.tell = setSaid;
      holder.current.append(mine.room);
      return () => mine.stop();
    }, []);
    // Drawn already: by the room it has got, or before Dash stood, unless a reading has come since.
    const isFirst = useRef(true);
    useLayoutEffect(() => {
      const { props: before } = chart.current, isSame = JSON.stringify(before.figure) === JSON.stringify(props.figure);
      chart.current.props = props;
      if (!(isFirst.current && isSame)) chart.current.draw();
      isFirst.current = false;
    }, [props.figure]);

    const e = React.createElement;
    const save = () => savedPicture(props, chart.current.room.clientHeight / chart.current.room.clientWidth);
    return e("div", { className: "plot" },
      e("div", { ref: holder }),
      e("p", { className: "hidden-words", "aria-live": "polite" }, said),
      e("p", { className: "plot-tools no-print" },
        e("button", { className: "plain", onClick: save }, "Save picture"),
        props.csv ? e("a", { className: "button plain", href: props.csv, download: "" }, "Save values") : null),
    );
  }

  window.paneltide = Object.assign(window.paneltide || {}, { Plot, drawEarly });
})();
