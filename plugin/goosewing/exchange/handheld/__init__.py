"""Routes for a handheld GPS: cut to what it takes, in the files it reads."""
