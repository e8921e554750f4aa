"""``python -m goosewing.live``: the running service."""

from goosewing.live.host.service import main

if __name__ == "__main__":
    main()
