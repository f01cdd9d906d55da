"""The verbs of the command line, one module each; heavy imports happen inside them."""
