"""`python -m tests.campaign`: the campaign over builds drawn at random."""

import sys

from tests.campaign.run import main

sys.exit(main())
