"""The service around the engine: intake, store, delivery, pages, command line."""
