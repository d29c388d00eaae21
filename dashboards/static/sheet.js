// Rows as CSV or XLSX, made in the page. No cell can run as a formula.
window.LimeledgerSheet = (() => {
  "use strict";

  function safe(value) {
    if (value === null || value === undefined) return "";
    if (typeof value !== "string") return value;
    return /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  }

  function csv(columns, rows) {
    const cell = (value) => {
      const text = String(safe(value));
      return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
    };
    return `\ufeff${[columns, ...rows].map((row) => row.map(cell).join(",")).join("\r\n")}\r\n`;
  }

  function xml(text) {
    // Characters that XML 1.0 cannot hold are left out.
    return text.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/g, "")
      .replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
  }

  function sheetXml(columns, rows) {
    const cell = (value) => {
      const held = safe(value);
      if (typeof held === "number") return `<c><v>${held}</v></c>`;
      return `<c t="inlineStr"><is><t xml:space="preserve">${xml(String(held))}</t></is></c>`;
    };
    const lines = [columns, ...rows].map((row) => `<row>${row.map(cell).join("")}</row>`);
    return '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
      + '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
      + '<sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" '
      + 'activePane="bottomLeft" state="frozen"/></sheetView></sheetViews>'
      + `<sheetData>${lines.join("")}</sheetData></worksheet>`;
  }

  function parts(columns, rows) {
    const head = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>';
    const office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const packaged = "http://schemas.openxmlformats.org/package/2006";
    const sheetKind = "application/vnd.openxmlformats-officedocument.spreadsheetml";
    return {
      "[Content_Types].xml": `${head}<Types xmlns="${packaged}/content-types">`
        + '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        + `<Override PartName="/xl/workbook.xml" ContentType="${sheetKind}.sheet.main+xml"/>`
        + `<Override PartName="/xl/worksheets/sheet1.xml" ContentType="${sheetKind}.worksheet+xml"/></Types>`,
      "_rels/.rels": `${head}<Relationships xmlns="${packaged}/relationships">`
        + `<Relationship Id="r1" Type="${office}/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
      "xl/workbook.xml": `${head}<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" `
        + `xmlns:r="${office}"><sheets><sheet name="Worklist" sheetId="1" r:id="r1"/></sheets></workbook>`,
      "xl/_rels/workbook.xml.rels": `${head}<Relationships xmlns="${packaged}/relationships">`
        + `<Relationship Id="r1" Type="${office}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`,
      "xl/worksheets/sheet1.xml": sheetXml(columns, rows),
    };
  }

  const table = Uint32Array.from({ length: 256 }, (_, n) => {
    let c = n;
    for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
    return c;
  });

  function crc(bytes) {
    let c = 0xffffffff;
    for (const byte of bytes) c = table[(c ^ byte) & 255] ^ (c >>> 8);
    return (c ^ 0xffffffff) >>> 0;
  }

  // A ZIP of stored (not compressed) files: local header, bytes, then the central directory.
  function zip(files) {
    const chunks = [];
    const central = [];
    let offset = 0;
    const record = (signature, shorts) => {
      const view = new DataView(new ArrayBuffer(shorts.reduce((n, [size]) => n + size, 4)));
      view.setUint32(0, signature, true);
      let at = 4;
      for (const [size, value] of shorts) {
        if (size === 2) view.setUint16(at, value, true); else view.setUint32(at, value, true);
        at += size;
      }
      return new Uint8Array(view.buffer);
    };
    for (const [name, text] of Object.entries(files)) {
      const path = new TextEncoder().encode(name);
      const bytes = new TextEncoder().encode(text);
      // Version, flags, method, time, date (1 January 1980), checksum, sizes, length of the name.
      const common = [[2, 20], [2, 0x800], [2, 0], [2, 0], [2, 33], [4, crc(bytes)],
        [4, bytes.length], [4, bytes.length], [2, path.length], [2, 0]];
      const local = record(0x04034b50, common);
      central.push(record(0x02014b50, [[2, 20], ...common, [2, 0], [2, 0], [2, 0], [4, 0],
        [4, offset]]), path);
      chunks.push(local, path, bytes);
      offset += local.length + path.length + bytes.length;
    }
    const size = central.reduce((n, part) => n + part.length, 0);
    const count = central.length / 2;
    const end = record(0x06054b50, [[2, 0], [2, 0], [2, count], [2, count], [4, size], [4, offset],
      [2, 0]]);
    return new Blob([...chunks, ...central, end],
      { type: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" });
  }

  function download(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  return { csv, xlsx: (columns, rows) => zip(parts(columns, rows)), download };
})();
