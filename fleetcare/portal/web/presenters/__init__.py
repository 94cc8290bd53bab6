"""What the pages show: figures in words and numbers of the reader, so that templates neither reckon nor decide."""
