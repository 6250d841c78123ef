// SPDX-License-Identifier: Apache-2.0
// measure KIB COMMAND...: runs the command and passes its exit status on, or says 99 when it took
// more than KIB KiB of memory at its peak. The peak and the processor time go to standard error.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

int main(int argc, char** argv) {
    if (argc < 3)
        return 98;
    const long limit = std::atol(argv[1]);
    const pid_t child = ::fork();
    if (child == 0) {
        ::execvp(argv[2], argv + 2);
        ::_exit(97);
    }
    int status = 0;
    rusage used{};
    if (child < 0 || ::wait4(child, &status, 0, &used) != child)
        return 98;
    const auto milliseconds = [](const timeval& time) {
        return time.tv_sec * 1000 + time.tv_usec / 1000;
    };
    std::fprintf(stderr, "peak %ld KiB, %ld ms\n", used.ru_maxrss,
                 static_cast<long>(milliseconds(used.ru_utime) + milliseconds(used.ru_stime)));
    if (used.ru_maxrss > limit)
        return 99;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}
