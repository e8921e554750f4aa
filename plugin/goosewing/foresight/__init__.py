"""What a navigator wants to know of a plan beforehand: what it meets, and what it hangs on."""
