"""What every command needs of the machine: files written whole, a cache folder, processors."""
