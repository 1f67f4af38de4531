// Letters below 24 px; targets below 72 px; controls without a name; text of too little contrast;
// controls that overlap; width of the page.
() => {
  const seen = (n) => n.offsetParent !== null && n.getBoundingClientRect().width > 0;
  const all = [...document.querySelectorAll('body *')].filter((n) => !n.closest('svg') && seen(n));
  const own = (n) => [...n.childNodes].some((c) => c.nodeType === 3 && c.textContent.trim());
  const rgb = (c) => c.match(/[\d.]+/g).slice(0, 3).map(Number);
  const light = (c) => rgb(c).map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92
    : ((v + 0.055) / 1.055) ** 2.4).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const paper = (n) => { for (let k = n; k; k = k.parentElement) {
    const c = getComputedStyle(k).backgroundColor; if (!/, 0\)$/.test(c)) return c; } return 'rgb(255,255,255)'; };
  const contrast = (n) => { const a = light(getComputedStyle(n).color), b = light(paper(n));
    return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05); };
  const controls = all.filter((n) => /^(BUTTON|A|INPUT)$/.test(n.tagName));
  const boxes = controls.map((n) => n.getBoundingClientRect());
  const beside = [];
  boxes.forEach((a, i) => boxes.forEach((b, k) => { if (k > i && Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1) beside.push([controls[i].textContent, controls[k].textContent]); }));
  return {
    small: all.filter((n) => own(n) && parseFloat(getComputedStyle(n).fontSize) < 24).map((n) => n.textContent),
    tight: controls.filter((n) => { const b = n.getBoundingClientRect(); return b.width < 71.5 || b.height < 71.5; }).map((n) => n.outerHTML),
    unnamed: controls.filter((n) => !(n.textContent.trim() || n.getAttribute('aria-label') || (n.labels && n.labels.length))).map((n) => n.outerHTML),
    faint: all.filter((n) => own(n) && contrast(n) < 4.5).map((n) => [n.textContent, contrast(n)]),
    beside, wide: document.documentElement.scrollWidth,
  };
}
