// Muscle sites: the boundary lines of a picture and the numbers of its form move together.
(function () {
  "use strict";

  function chartOf(number) {
    return document.querySelector('[data-muscle-chart="' + number + '"]');
  }

  function formOf(number) {
    return document.querySelector('[data-muscle-form="' + number + '"]');
  }

  function inputsOf(number) {
    return Array.from(formOf(number).querySelectorAll("[data-boundary]"));
  }

  function scaleOf(chart) {
    var low = Number(chart.dataset.lowLn), high = Number(chart.dataset.highLn);
    var top = Number(chart.dataset.top), bottom = Number(chart.dataset.bottom);
    return {
      y: function (value) {
        var share = (Math.log(value) - low) / (high - low);
        return bottom - Math.min(Math.max(share, 0), 1) * (bottom - top);
      },
      value: function (y) {
        return Math.exp(low + (bottom - Math.min(Math.max(y, top), bottom)) / (bottom - top) * (high - low));
      },
      top: top,
      bottom: bottom
    };
  }

  // Draw lines, bands and words at the numbers that stand in the form.
  function redraw(number) {
    var chart = chartOf(number), scale = scaleOf(chart);
    var ys = inputsOf(number).map(function (input) {
      var value = Number(input.value);
      return value > 0 ? scale.y(value) : scale.bottom;
    });
    ys.forEach(function (y, k) {
      var line = chart.querySelector('[data-boundary-line="' + k + '"]');
      line.setAttribute("transform", "translate(0 " + y.toFixed(1) + ")");
      line.setAttribute("aria-valuenow", inputsOf(number)[k].value);
      line.setAttribute("aria-valuetext", inputsOf(number)[k].value);
    });
    var edges = [scale.bottom].concat(ys, [scale.top]);
    for (var k = 0; k + 1 < edges.length; k += 1) {
      var height = Math.max(edges[k] - edges[k + 1], 0);
      chart.querySelectorAll('[data-band="' + k + '"]').forEach(function (band) {
        band.setAttribute("y", edges[k + 1].toFixed(1));
        band.setAttribute("height", height.toFixed(1));
      });
      var word = chart.querySelector('[data-band-word="' + k + '"]');
      word.setAttribute("y", ((edges[k] + edges[k + 1]) / 2 + 4).toFixed(1));
    }
  }

  // A line may not pass its neighbours.
  function put(number, k, value) {
    var inputs = inputsOf(number);
    var below = k > 0 ? Number(inputs[k - 1].value) * 1.02 : 0;
    var above = k + 1 < inputs.length ? Number(inputs[k + 1].value) / 1.02 : Infinity;
    inputs[k].value = Number(Math.min(Math.max(value, below), above).toPrecision(4));
    redraw(number);
  }

  function tell(number, k) {
    inputsOf(number)[k].dispatchEvent(new Event("change", { bubbles: true }));
  }

  function yIn(chart, event) {
    var point = chart.createSVGPoint();
    point.x = event.clientX;
    point.y = event.clientY;
    return point.matrixTransform(chart.getScreenCTM().inverse()).y;
  }

  function lineOf(target) {
    var line = target.closest && target.closest("[data-boundary-line]");
    if (!line) { return null; }
    var chart = line.closest("[data-muscle-chart]");
    return { line: line, chart: chart, number: chart.dataset.muscleChart, k: Number(line.dataset.boundaryLine) };
  }

  document.addEventListener("pointerdown", function (event) {
    var held = lineOf(event.target);
    if (!held) { return; }
    event.preventDefault();
    held.line.focus();
    held.line.setPointerCapture(event.pointerId);
    var scale = scaleOf(held.chart);
    function move(moved) { put(held.number, held.k, scale.value(yIn(held.chart, moved))); }
    function drop() {
      held.line.removeEventListener("pointermove", move);
      tell(held.number, held.k);
    }
    held.line.addEventListener("pointermove", move);
    held.line.addEventListener("pointerup", drop, { once: true });
    held.line.addEventListener("pointercancel", drop, { once: true });
  });

  document.addEventListener("keydown", function (event) {
    var held = lineOf(event.target);
    var step = { ArrowUp: 1.02, ArrowRight: 1.02, ArrowDown: 1 / 1.02, ArrowLeft: 1 / 1.02, PageUp: 1.2, PageDown: 1 / 1.2 }[event.key];
    if (!held || !step) { return; }
    event.preventDefault();
    put(held.number, held.k, Number(inputsOf(held.number)[held.k].value) * step);
    tell(held.number, held.k);
  });

  document.addEventListener("input", function (event) {
    if (event.target.matches("[data-boundary]")) { redraw(event.target.closest("[data-muscle-form]").dataset.muscleForm); }
  });

  // A mark of the trade-off picture chooses its hysteresis and debounce.
  document.addEventListener("click", function (event) {
    var choice = event.target.closest("[data-choice]");
    if (!choice) { return; }
    var form = formOf(choice.dataset.choice), prefix = "c" + choice.dataset.choice + "-";
    choose(form.elements[prefix + "hysteresis_ln"], choice.dataset.hysteresis);
    choose(form.elements[prefix + "debounce_ms"], choice.dataset.debounce);
    form.elements[prefix + "debounce_ms"].dispatchEvent(new Event("change", { bubbles: true }));
  });

  function choose(select, value) {
    Array.from(select.options).forEach(function (option) {
      option.selected = Number(option.value) === Number(value);
    });
  }
}());
