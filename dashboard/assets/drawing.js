/* The page's element that shows a drawing: plain data in, SVG elements out. No markup is ever parsed. */
(function () {
  "use strict";
  const TAGS = new Set([
    "svg", "g", "a", "path", "line", "rect", "circle", "polyline", "polygon", "text", "tspan", "title", "desc",
    "defs", "pattern", "clipPath", "use",
  ]);
  const NAMES = { class: "className" };

  function reactName(name) {
    if (NAMES[name]) return NAMES[name];
    if (name.startsWith("aria-") || name.startsWith("data-")) return name;
    return name.replace(/-([a-z])/g, (_, letter) => letter.toUpperCase());
  }

  function build(node, key) {
    if (typeof node === "string") return node;
    const [tag, attributes, ...children] = node;
    if (!TAGS.has(tag)) return null;
    const props = { key };
    for (const [name, value] of Object.entries(attributes)) {
      if (name.startsWith("on")) continue;
      if (name === "href" && !/^[/#]/.test(value)) continue;
      props[reactName(name)] = value;
    }
    return React.createElement(tag, props, ...children.map(build));
  }

  function nearest(xs, x) {
    let low = 0, high = xs.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] < x) low = middle; else high = middle;
    }
    return x - xs[low] < xs[high] - x ? low : high;
  }

  function position(event, attributes) {
    const box = event.currentTarget.getBoundingClientRect();
    return ((event.clientX - box.left) / box.width) * Number(attributes.viewBox.split(" ")[2]);
  }

  /* A stretch of a chart dragged over becomes the address of that stretch: the server draws it finer. */
  function narrowed(zoom, from, to) {
    const time = (x) => {
      const held = Math.max(zoom.left, Math.min(zoom.right, x));
      return zoom.from + ((held - zoom.left) / (zoom.right - zoom.left)) * (zoom.to - zoom.from);
    };
    const minute = (ms) => new Date(ms).toISOString().slice(0, 16) + "Z";
    const url = new URL(zoom.href, location.href);
    url.searchParams.delete("span");
    url.searchParams.set("since", minute(time(Math.min(from, to))));
    url.searchParams.set("until", minute(time(Math.max(from, to))));
    history.pushState({}, "", url.pathname + url.search);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
  }

  function Drawing(props) {
    const { useState } = React;
    const [at, setAt] = useState(null);
    const [drag, setDrag] = useState(null);
    const { tree, readings, zoom } = props;
    const [tag, attributes, ...children] = tree;
    const listening = readings && readings.x.length;
    let hair = null, said = null;
    if (listening && at !== null && at < readings.x.length) {
      const x = readings.x[at];
      hair = React.createElement("line", {
        key: "hair", className: "hair", x1: x, x2: x, y1: readings.top, y2: readings.bottom,
      });
      said = readings.says[at];
    }
    let dragged = null;
    if (zoom && drag && Math.abs(drag.to - drag.from) > 4) {
      dragged = React.createElement("rect", {
        key: "drag", className: "dragged", x: Math.min(drag.from, drag.to), width: Math.abs(drag.to - drag.from),
        y: readings ? readings.top : 0, height: readings ? readings.bottom - readings.top : 0,
      });
    }
    const pointer = !listening && !zoom ? {} : {
      onPointerMove: (event) => {
        const x = position(event, attributes);
        if (listening) setAt(nearest(readings.x, x));
        if (drag) setDrag({ from: drag.from, to: x });
      },
      onPointerDown: (event) => {
        // A finger scrolls the page; only a mouse or a pen draws a stretch.
        if (!zoom || event.button || event.pointerType === "touch") return;
        event.preventDefault();
        event.currentTarget.setPointerCapture(event.pointerId);
        const x = position(event, attributes);
        setDrag({ from: x, to: x });
      },
      onPointerUp: () => {
        if (drag && Math.abs(drag.to - drag.from) > 8) narrowed(zoom, drag.from, drag.to);
        setDrag(null);
      },
      onPointerCancel: () => setDrag(null),
      onPointerLeave: () => { if (!drag) setAt(null); },
    };
    const keys = !listening ? {} : {
      tabIndex: 0,
      onKeyDown: (event) => {
        const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: -10, PageDown: 10 }[event.key];
        if (!step) return;
        event.preventDefault();
        const last = readings.x.length - 1;
        setAt((was) => Math.max(0, Math.min(last, (was === null ? last : was) + step)));
      },
      onBlur: () => setAt(null),
    };
    const inner = children.map(build);
    if (dragged) inner.push(dragged);
    if (hair) inner.push(hair);
    const drawn = React.createElement(
      "svg", Object.assign({}, build([tag, attributes]).props, pointer, keys), ...inner,
    );
    const wrap = { className: "drawing " + (props.className || "") };
    if (props.id) wrap.id = props.id;
    return React.createElement(
      "div", wrap, drawn,
      listening ? React.createElement("p", { className: "under-pointer", "aria-live": "polite" }, said || "\u00a0") : null,
    );
  }

  window.paneltide = Object.assign(window.paneltide || {}, { Drawing });
})();
