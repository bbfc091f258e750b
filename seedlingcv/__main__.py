from seedlingcv.cli.app import main

main()
