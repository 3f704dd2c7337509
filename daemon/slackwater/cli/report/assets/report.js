"use strict";
(() => {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const INK = "#16262e", QUIET = "#4a5d66", DEEP = "#0b5563", PALE = "#0b556322", GRAVE = "#7a1f1f";
  const FONT = "12px system-ui, sans-serif";
  const plots = [];

  const widthOf = (place) => Math.max(place.clientWidth, 200);

  const axis = (more) => ({ font: FONT, stroke: INK, grid: { stroke: "#dfe7ea", width: 1 }, ticks: { stroke: "#c3cfd4" }, ...more });

  const draw = (id, height, make) => {
    const place = document.getElementById(`chart-${id}`);
    if (!place) return;
    const [options, data] = make();
    const plot = new uPlot({ width: widthOf(place), height, cursor: { show: false }, legend: { show: false }, ...options }, data, place);
    plots.push([plot, place, height]);
  };

  const level = (chart) => {
    const days = chart.days;
    const flat = (value) => days.map(() => value);
    const date = (day) => new Date(Date.parse(chart.first) + day * 864e5).toISOString().slice(5, 10);
    const series = [{}, { stroke: QUIET, width: 1.5, dash: [10, 5] }, { stroke: DEEP, width: 2.5 }, { stroke: QUIET, width: 1.5, dash: [2, 4] }];
    const data = [days, chart.less, chart.same, chart.more];
    for (const bound of ["floor", "ceiling"]) {
      if (chart[bound] != null) {
        series.push({ stroke: GRAVE, width: 1.5 });
        data.push(flat(chart[bound]));
      }
    }
    for (const one of series) one.points = { show: false };
    const names = [["30 % less", chart.less], ["as believed", chart.same], ["30 % more", chart.more]]
      .map(([name, levels]) => [name, levels[levels.length - 1]]);
    for (const bound of ["floor", "ceiling"]) if (chart[bound] != null) names.push([bound, chart[bound]]);
    const all = data.slice(1).flat();
    // A level that hardly moves is drawn flat: a steep scale would make a slope of it.
    const least = Math.min(...all), most = Math.max(...all), spare = Math.max(chart.span - (most - least), 0) / 2;
    const low = least - spare, high = most + spare, room = (high - low) * 0.08 || 1;
    return [{
      series,
      bands: [{ series: [1, 3], fill: PALE }],
      padding: [12, 78, 0, 0],
      hooks: { draw: [(plot) => named(plot, names), (plot) => crossed(plot, chart)] },
      scales: { x: { time: false }, y: { range: [low - room, high + room] } },
      axes: [
        axis({ space: 70, values: (_, splits) => splits.map((day) => Number.isInteger(day) ? date(day) : "") }),
        axis({ size: 60, label: chart.unit, labelFont: FONT, labelSize: 18, values: (_, splits) => splits.map((level) => String(Number(level.toFixed(6)))) }),
      ],
    }, data];
  };

  // Names of the lines at their right ends, pushed apart so that each can be read.
  const named = (plot, names) => {
    const pen = plot.ctx, gap = 14 * devicePixelRatio;
    const places = names.map(([name, level]) => [name, plot.valToPos(level, "y", true)]).sort((one, other) => one[1] - other[1]);
    for (let n = 1; n < places.length; n++) places[n][1] = Math.max(places[n][1], places[n - 1][1] + gap);
    let least = plot.bbox.top + plot.bbox.height + gap / 2;
    for (let n = places.length - 1; n >= 0; n--) {
      places[n][1] = Math.min(places[n][1], least);
      least = places[n][1] - gap;
    }
    pen.save();
    pen.font = `${12 * devicePixelRatio}px system-ui, sans-serif`;
    pen.fillStyle = INK;
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    for (const [name, at] of places) pen.fillText(name, plot.bbox.left + plot.bbox.width + 6 * devicePixelRatio, at);
    pen.restore();
  };

  // Where a line first leaves its bounds: a triangle that points out of them, and the day.
  const crossed = (plot, chart) => {
    const pen = plot.ctx, unit = devicePixelRatio;
    pen.save();
    pen.font = `${12 * unit}px system-ui, sans-serif`;
    pen.fillStyle = GRAVE;
    pen.strokeStyle = "#ffffff";
    pen.lineWidth = 4 * unit;
    pen.textBaseline = "middle";
    for (const mark of chart.marks) {
      const out = mark.bound === "ceiling" ? -1 : 1;
      const x = plot.valToPos(mark.day, "x", true), y = plot.valToPos(chart[mark.bound], "y", true);
      pen.beginPath();
      pen.moveTo(x, y + out * 11 * unit);
      pen.lineTo(x - 6 * unit, y);
      pen.lineTo(x + 6 * unit, y);
      pen.closePath();
      pen.fill();
      const fits = x + 10 * unit + pen.measureText(mark.words).width < plot.bbox.left + plot.bbox.width;
      pen.textAlign = fits ? "left" : "right";
      for (const write of ["strokeText", "fillText"]) pen[write](mark.words, x + (fits ? 10 : -10) * unit, y - out * 10 * unit);
    }
    pen.restore();
  };

  const lanes = (pumps, points, x) => {
    const data = [points.map((point) => point[0]), points.map((point) => pumps.length - 1 - point[1])];
    const order = data[0].map((_, n) => n).sort((one, other) => data[0][one] - data[0][other]);
    const names = Math.max(...pumps.map((name) => name.length), 4) * 7.2 + 30;
    return [{
      series: [{}, { paths: () => null, points: { show: true, size: 9, width: 1.5, stroke: DEEP, fill: PALE } }],
      scales: { x: { time: false, range: x.range }, y: { range: [-0.6, pumps.length - 0.4] } },
      axes: [
        axis({ space: 45, incrs: x.steps, values: (_, splits) => splits.map(x.words), label: x.label, labelFont: FONT, labelSize: 18 }),
        axis({ size: names, splits: () => pumps.map((_, n) => n), values: (_, splits) => splits.map((n) => pumps[pumps.length - 1 - n] ?? "") }),
      ],
      hooks: x.hooks ?? {},
    }, data.map((row) => order.map((n) => row[n]))];
  };

  const whole = (plot) => {
    const at = plot.valToPos(100, "x", true);
    const pen = plot.ctx;
    pen.save();
    pen.strokeStyle = GRAVE;
    pen.lineWidth = 2 * devicePixelRatio;
    pen.beginPath();
    pen.moveTo(at, plot.bbox.top);
    pen.lineTo(at, plot.bbox.top + plot.bbox.height);
    pen.stroke();
    pen.restore();
  };

  for (const chart of figures.forecasts) draw(chart.id, 240, () => level(chart));
  const high = (pumps) => 80 + 30 * pumps.length;
  if (figures.day.doses.length) {
    draw("day", high(figures.day.pumps), () => lanes(figures.day.pumps, figures.day.doses, {
      range: [-20, 1460], steps: [60, 120, 180, 240, 360, 720], label: "local time",
      words: (minute) => `${String(Math.floor(minute / 60)).padStart(2, "0")}:${String(minute % 60).padStart(2, "0")}`,
    }));
  }
  if (figures.shares.shares.length) {
    draw("shares", high(figures.shares.pumps), () => lanes(figures.shares.pumps, figures.shares.shares, {
      range: [0, Math.max(110, ...figures.shares.shares.map((point) => point[0] * 1.05))], steps: [10, 20, 50, 100, 200], label: "percent of the daily cap; the line is the cap",
      words: (percent) => `${percent} %`, hooks: { draw: [whole] },
    }));
  }

  const fit = () => {
    for (const [plot, place, height] of plots) plot.setSize({ width: widthOf(place), height });
  };
  addEventListener("resize", fit);
  // Paper cannot be unfolded.
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    for (const one of folded) one.open = true;
    for (const [plot, , height] of plots) plot.setSize({ width: 640, height });
  });
  addEventListener("afterprint", () => {
    for (const one of folded) one.open = false;
    fit();
  });

  const search = document.getElementById("search");
  if (search) {
    const rows = [...document.querySelectorAll("#doses tbody tr")];
    const texts = rows.map((row) => row.textContent.toLowerCase());
    const found = document.getElementById("found");
    search.closest(".search").hidden = false;
    search.addEventListener("input", () => {
      const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
      let count = 0;
      rows.forEach((row, n) => {
        row.hidden = !words.every((word) => texts[n].includes(word));
        if (!row.hidden) count += 1;
      });
      found.textContent = words.length ? `${count} of ${rows.length} doses` : "";
    });
  }
})();
