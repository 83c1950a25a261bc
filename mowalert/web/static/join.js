/* Makes joining easier where scripts run; without this file the form works as it is. */
(function () {
  "use strict";
  var heights = document.getElementById("height_mm");
  if (heights && heights.options.length > 1) {
    var slider = document.createElement("input");
    var said = document.createElement("output");
    slider.type = "range";
    slider.min = "0";
    slider.max = String(heights.options.length - 1);
    slider.value = String(heights.selectedIndex);
    slider.setAttribute("aria-label", heights.labels[0].textContent);
    var show = function () {
      heights.selectedIndex = Number(slider.value);
      var words = heights.options[heights.selectedIndex].textContent;
      said.textContent = words;
      slider.setAttribute("aria-valuetext", words);
    };
    slider.addEventListener("input", show);
    heights.addEventListener("change", function () {
      slider.value = String(heights.selectedIndex);
      show();
    });
    heights.after(slider, said);
    heights.hidden = true;
    show();
  }
  var spot = document.getElementById("here");
  if (spot && navigator.geolocation && window.isSecureContext) {
    spot.hidden = false;
    spot.addEventListener("click", function () {
      navigator.geolocation.getCurrentPosition(function (found) {
        // A lawn's weather is asked for by squares of ten kilometres: three decimals are plenty.
        document.getElementById("latitude").value = found.coords.latitude.toFixed(3);
        document.getElementById("longitude").value = found.coords.longitude.toFixed(3);
        document.getElementById("latitude").closest("details").open = true;
      });
    });
  }
})();
