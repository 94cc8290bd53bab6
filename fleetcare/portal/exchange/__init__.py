"""A fleet's record in and out: tables from elsewhere, a complete export, and the way back from it."""
