"""The demo: the real service on embedded defaults, with a simulated tank, a broker and a phone of its own."""
