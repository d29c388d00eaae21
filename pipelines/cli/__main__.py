"""`python -m pipelines.cli`: the same as the command `limeledger`."""

import sys

from pipelines.cli.main import main

sys.exit(main())
