// The library gives sliders, and figures that may be typed over, no names that a screen reader could say.
const name = () => {
  for (const one of document.querySelectorAll('.widget-slider :is([role=slider], .widget-readout):not([aria-label])')) {
    one.setAttribute('aria-label', one.closest('.widget-slider').querySelector('.widget-label').textContent);
    if (!one.hasAttribute('role')) one.setAttribute('role', 'textbox');
  }
};
name();
new MutationObserver(name).observe(this.closest('.kit-panel') || document.body, {childList: true, subtree: true});
