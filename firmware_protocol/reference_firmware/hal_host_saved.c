/* What the PC's board keeps over resets, as the microcontroller does in its EEPROM. Everything runs in the one thread
 * of the child process.
 *
 * The file has two lines: the count of resets, and the serial number ("unset" when there is none). A missing file is
 * made; one that is no such file is a memory fault, and is left as it is.
 */
#include <string.h>

#include "hal.h"
#include "hal_host.h"
#include "mixed.h"

#define LINE_MAX_OCTETS 80u

static const char *path;
static uint32_t resets;
static char serial_number[LINE_MAX_OCTETS] = "unset";
static bool unsound;

static bool read_file(FILE *file)
{
    char first[LINE_MAX_OCTETS], second[LINE_MAX_OCTETS];
    char *end;
    if (fgets(first, sizeof first, file) == NULL || fgets(second, sizeof second, file) == NULL) {
        return false;
    }
    unsigned long count = strtoul(first, &end, 10);
    size_t length = strcspn(second, "\n");
    if (end == first || *end != '\n' || count > UINT32_MAX || length == 0 || length > HAL_SERIAL_NUMBER_MAX) {
        return false;
    }
    resets = (uint32_t)count;
    memcpy(serial_number, second, length);
    serial_number[length] = '\0';
    return true;
}

void saved_start(const char *file)
{
    path = file;
    FILE *opened = path == NULL ? NULL : fopen(path, "r");
    if (opened != NULL) {
        unsound = !read_file(opened);
        fclose(opened);
    }
}

static void write_file(void)
{
    FILE *file = fopen(path, "w");
    if (file == NULL) {
        bench_broken("the file that stands for the EEPROM cannot be written; give another one.");
        return;
    }
    fprintf(file, "%lu\n%s\n", (unsigned long)resets, serial_number);
    fclose(file);
}

uint32_t hal_boot_id(void)
{
    resets = resets == UINT32_MAX ? 1 : resets + 1u;
    if (path != NULL && !unsound) {
        write_file();
    }
    return mixed(resets);
}

uint8_t hal_serial_number(char *text, uint8_t longest)
{
    size_t length = strlen(serial_number);
    if (length > longest) {
        length = longest;
    }
    memcpy(text, serial_number, length);
    return (uint8_t)length;
}

uint8_t hal_memory_fault(void)
{
    return unsound ? 2 : 0;
}
