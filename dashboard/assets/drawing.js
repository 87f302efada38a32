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

  function Drawing(props) {
    const wrap = { className: "drawing " + (props.className || "") };
    if (props.id) wrap.id = props.id;
    return React.createElement("div", wrap, build(props.tree));
  }

  window.paneltide = Object.assign(window.paneltide || {}, { Drawing });
})();
