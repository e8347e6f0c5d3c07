"""The one script of the pages at the bench; the gate lets it run and no other."""

from __future__ import annotations

# A scanner ends with Enter, and so does a hand in a glove: it goes on to the next field. What was
# saved leaves a new form, in which the first field is next; among several forms, what follows the
# words that say so; where others saved meanwhile, what is to be settled. Numbers bring up the
# digits of a tablet.
KEYS = """
<script>
if (!window.benchKeys) {
  window.benchKeys = true;
  const main = '[data-testid="stMain"]';
  const fields = () => [...document.querySelectorAll(
    `${main} :is(input, textarea, .st-key-save-bar [data-testid="stBaseButton-primary"])`)]
    .filter(found => !found.disabled && found.tabIndex >= 0 && found.offsetParent);
  const moveOn = from => {
    const all = fields(), next = all[all.indexOf(from) + 1];
    if (!next) return;
    next.focus();
    if (next.select) next.select();
  };
  const afterSaid = () => {
    const said = [...document.querySelectorAll(`${main} [data-testid="stAlertContentSuccess"]`)];
    const all = document.querySelectorAll(`${main} :is(input, textarea, button, summary)`);
    return said.length ? [...all].find(
      found => !found.disabled && found.tabIndex >= 0 && found.offsetParent &&
        said.at(-1).compareDocumentPosition(found) & Node.DOCUMENT_POSITION_FOLLOWING) : null;
  };
  document.addEventListener('keydown', event => {
    const here = event.target;
    if (event.key !== 'Enter' || event.isComposing || here.tagName !== 'INPUT') return;
    if (!document.querySelector('.st-key-bench-page') || !here.closest(main)) return;
    if (here.closest('.st-key-plain')) return;
    // A list takes what is chosen first.
    setTimeout(() => moveOn(here), here.getAttribute('role') === 'combobox' ? 60 : 0);
  });
  document.addEventListener('click', event => {
    const pressed = event.target.closest &&
      event.target.closest(`${main} [data-testid="stBaseButton-primary"]`);
    if (!pressed || !document.querySelector('.st-key-bench-page')) return;
    const whole = pressed.closest('.st-key-save-bar');  // of a page that is one form
    let looked = 0;
    const timer = setInterval(() => {
      looked += 1;
      if (pressed.isConnected && !pressed.disabled && looked < 80) return;
      clearInterval(timer);
      if (document.activeElement !== document.body) return;
      const clash = document.querySelector(`${main} [class*="-mine-"] button`);
      const next = clash || (pressed.isConnected ? null : whole ? fields()[0] : afterSaid());
      if (next) next.focus();
    }, 100);
  });
  document.addEventListener('focusin', event => {
    if (event.target.closest && event.target.closest('[class*="st-key-digits-"]'))
      event.target.inputMode = 'decimal';
  });
}
</script>
"""
