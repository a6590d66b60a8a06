"""The command `sweeper`. Results go to standard output, everything else to standard error."""

import os
import sys


def main() -> None:
    """Run the command line; exit 0 (done), 1 (it ran, and the answer is bad) or 2 (the call or a file is wrong)."""
    # Before NumPy is loaded: for matrices as small as ours a second thread only waits, and takes a processor for it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from drivers.errors import RigError
    from sweeper.cli.app import app
    from sweeper.errors import UserFacingError
    from sweeper.printable import Printable

    sys.stdout, sys.stderr = Printable(sys.stdout), Printable(sys.stderr)
    try:
        app()
    except UserFacingError as told:
        print(told, file=sys.stderr)
        sys.exit(told.exit_code)
    except RigError as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()  # whoever read the output has seen enough
        sys.exit(0)
    except OSError as refusal:
        print(f"This computer does not allow it: {refusal}", file=sys.stderr)
        sys.exit(1)


if __name__ == "__main__":
    main()
