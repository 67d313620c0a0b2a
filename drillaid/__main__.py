import sys

from drillaid.cli import main

sys.exit(main())
