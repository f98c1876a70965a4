export default function (component) {
  const { data, setStateValue } = component;
  const name = `action-unit-${data.name}`;
  try {
    if (data.keep !== null) localStorage.setItem(name, data.keep);
    else if (localStorage.getItem(name)) setStateValue("found", localStorage.getItem(name));
  } catch {
    // A browser that keeps nothing: the choice holds for this session.
  }
}
