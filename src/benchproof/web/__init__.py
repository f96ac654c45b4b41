"""The bench page: screens served to a browser over the layers below; no computing of its own."""
