/* A choice from a list as the browser's own element: keyboard, screen reader and phone know it already. */
(function () {
  "use strict";
  function Choice(props) {
    const { id, options, value, setProps } = props;
    const domId = typeof id === "object" && id !== null
      ? JSON.stringify(Object.fromEntries(Object.keys(id).sort().map((key) => [key, id[key]])))
      : id;
    return React.createElement(
      "select",
      { id: domId, value: value === null || value === undefined ? "" : value, onChange: (event) => setProps({ value: event.target.value }) },
      ...options.map((option) => React.createElement("option", { key: option.value, value: option.value }, option.label)),
    );
  }
  window.paneltide = Object.assign(window.paneltide || {}, { Choice });
})();
