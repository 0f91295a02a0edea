/* A main program for the fuzz target where there is no libFuzzer, on the PC only. With arguments each names a file
 * that is one input. Without, stdin holds inputs one after the other, each with its length before it (u16,
 * little-endian). */
#include <stdint.h>
#include <stdio.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static uint8_t input[65536];

static int run_stdin(void)
{
    uint8_t head[2];
    unsigned long count = 0;
    while (fread(head, 1, 2, stdin) == 2) {
        size_t length = head[0] | (size_t)head[1] << 8;
        if (fread(input, 1, length, stdin) != length) {
            fputs("fuzz_files: the last input on stdin is shorter than its length says\n", stderr);
            return 2;
        }
        LLVMFuzzerTestOneInput(input, length);
        count++;
    }
    printf("%lu inputs\n", count);
    return 0;
}

static int run_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        fprintf(stderr, "fuzz_files: %s cannot be read\n", path);
        return 2;
    }
    size_t length = fread(input, 1, sizeof input, file);
    fclose(file);
    LLVMFuzzerTestOneInput(input, length);
    return 0;
}

int main(int count, char **arguments)
{
    if (count < 2) {
        return run_stdin();
    }
    for (int at = 1; at < count; at++) {
        int failed = run_file(arguments[at]);
        if (failed != 0) {
            return failed;
        }
    }
    printf("%d inputs\n", count - 1);
    return 0;
}
