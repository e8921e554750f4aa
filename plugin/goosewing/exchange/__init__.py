"""Files and sentences, in and out: the only rooms that touch a disk or a wire."""
