# Reads `avr-size -A`, prints what the program uses, and fails when that is over the limits.
$1 == ".text" { text = $2 }
$1 == ".data" { data = $2 }
$1 == ".bss" { bss = $2 }
$1 == ".noinit" { noinit = $2 }
END {
    flash = text + data
    ram = data + bss + noinit
    printf "flash %d of 32768 octets (limit %d), RAM %d of 2048 octets (limit %d), %d left for the stack\n",
        flash, flash_limit, ram, ram_limit, 2048 - ram
    if (flash > flash_limit || ram > ram_limit) {
        print "the program has grown over its limits" > "/dev/stderr"
        exit 1
    }
}
