"use strict";

const place = document.getElementById("calls");

SwaggerUIBundle({
  url: place.dataset.schema,
  dom_id: "#calls",
  presets: [SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  // null: no badge of an outside validator, which would tell it where this service stands.
  validatorUrl: null,
});
