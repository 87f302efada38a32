/* A text file from this machine, read here and handed on as text; the browser's own element. */
(function () {
  "use strict";
  const LARGEST = 8e6;

  function TextFile(props) {
    const { id, accept, setProps } = props;
    const domId = typeof id !== "object" || id === null ? id
      : JSON.stringify(Object.fromEntries(Object.keys(id).sort().map((key) => [key, id[key]])));
    return React.createElement("input", {
      id: domId, type: "file", accept,
      onChange: (event) => {
        const file = event.target.files[0];
        if (!file) return;
        if (file.size > LARGEST) {
          setProps({ file: { name: file.name, text: "", size: file.size } });
          return;
        }
        const reader = new FileReader();
        reader.onload = () => setProps({ file: { name: file.name, text: String(reader.result), size: file.size } });
        reader.readAsText(file);
      },
    });
  }

  window.paneltide = Object.assign(window.paneltide || {}, { TextFile });
})();
