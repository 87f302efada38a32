/* Fields as the browser's own elements: keyboard, screen reader and phone know them already. */
(function () {
  "use strict";
  const PAUSE_MS = 300;

  function domId(id) {
    if (typeof id !== "object" || id === null) return id;
    return JSON.stringify(Object.fromEntries(Object.keys(id).sort().map((key) => [key, id[key]])));
  }

  function Choice(props) {
    const { id, options, value, label, name, setProps } = props;
    return React.createElement(
      "select",
      { id: domId(id), name, value: value ?? "", "aria-label": label, onChange: (event) => setProps({ value: event.target.value }) },
      ...options.map((option) => React.createElement("option", { key: option.value, value: option.value }, option.label)),
    );
  }

  /* A line, or several, to write on. What is typed becomes an answer when typing pauses or the field is left. */
  function Line(props) {
    const { id, value, kind, list, placeholder, rows, name, mode, setProps } = props;
    const { useEffect, useRef, useState } = React;
    const [typed, setTyped] = useState(value ?? "");
    const waiting = useRef(null);
    const told = useRef(value ?? "");
    useEffect(() => {
      if ((value ?? "") !== told.current) {
        told.current = value ?? "";
        setTyped(value ?? "");
      }
    }, [value]);
    useEffect(() => () => clearTimeout(waiting.current), []);
    const tell = (text) => {
      clearTimeout(waiting.current);
      if (text === told.current) return;
      told.current = text;
      setProps({ value: text });
    };
    const shared = {
      id: domId(id), name, value: typed, placeholder, inputMode: mode, autoComplete: kind === "password" ? "current-password" : "off",
      onChange: (event) => {
        const text = event.target.value;
        setTyped(text);
        clearTimeout(waiting.current);
        waiting.current = setTimeout(() => tell(text), PAUSE_MS);
      },
      onBlur: () => tell(typed),
    };
    if (rows) return React.createElement("textarea", { ...shared, rows, spellCheck: false });
    return React.createElement("input", {
      ...shared, type: kind || "text", list,
      onKeyDown: (event) => {
        if (event.key !== "Enter") return;
        tell(typed);
        setProps({ entered: Date.now() });
      },
    });
  }

  /* A file to choose. It is sent at once, as it is; the answer is what the page goes on with. */
  function Upload(props) {
    const { id, accept, to, most, setProps } = props;
    const send = async (file) => {
      if (!file) return setProps({ value: "" });
      if (file.size > most) return setProps({ value: "", problem: `${file.name} is too large: at most ${Math.round(most / 1048576)} MB` });
      setProps({ value: "", problem: "", name: file.name });
      try {
        const answer = await fetch(`${to}?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
        const said = await answer.text();
        setProps(answer.ok ? { value: said, problem: "" } : { value: "", problem: said });
      } catch (error) {
        setProps({ value: "", problem: `${file.name} could not be sent` });
      }
    };
    return React.createElement("input", {
      id: domId(id), type: "file", accept, onChange: (event) => send(event.target.files[0]),
    });
  }

  window.paneltide = Object.assign(window.paneltide || {}, { Choice, Line, Upload });
})();
