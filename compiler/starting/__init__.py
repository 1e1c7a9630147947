"""Starting a text: a file to fill in, the questions that fill it, and what it costs not to know an answer."""
