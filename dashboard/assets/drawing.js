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

  function Drawing(props) {
    const { useState } = React;
    const [at, setAt] = useState(null);
    const { tree, readings } = props;
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
    const pointer = !listening ? {} : {
      onPointerMove: (event) => {
        const box = event.currentTarget.getBoundingClientRect();
        const width = Number(attributes.viewBox.split(" ")[2]);
        setAt(nearest(readings.x, ((event.clientX - box.left) / box.width) * width));
      },
      onPointerLeave: () => setAt(null),
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

  window.paneltide = { Drawing };
})();
