"""Pages that join the features, their frame, and the commands `demo` and `serve`."""
