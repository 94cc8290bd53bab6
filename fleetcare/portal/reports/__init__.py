"""The condition report: one content for the page, the private link and the PDF."""
